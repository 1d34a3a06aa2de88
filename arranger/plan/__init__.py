"""The planner: pedals, strings, hands, times."""
