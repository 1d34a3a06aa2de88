"""The public names of the api, which scripts import."""

from __future__ import annotations

from arranger import api


def test_public_names_stay() -> None:
    assert set(api.__all__) >= {"Progress", "Request", "Result", "SelfCheckError", "check",
                                "convert", "keys_of", "pedals", "settings_for"}
    assert all(hasattr(api, name) for name in api.__all__)
