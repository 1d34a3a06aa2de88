"""The commands, one a module, between one way to open a request and one way to deliver."""
