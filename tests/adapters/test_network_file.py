"""The trained networks that ship with the package."""

from __future__ import annotations

import pytest

from penult.adapters.files import network_file
from penult.errors import PenultError


def test_four_networks_and_two_slow_ones_of_one_shape_ship() -> None:
    """Layers of the same names and sizes in each, and numbers that differ."""
    networks = network_file.shoe_networks()

    shapes = [{name: layer.shape for name, layer in n.weights.items()} for n in networks]
    assert [n.slow for n in networks] == [False] * 4 + [True] * 2
    assert all(s == shapes[0] for s in shapes)
    assert (networks[0].weights["c1.weight"] != networks[1].weights["c1.weight"]).any()
    assert (networks[4].weights["c1.weight"] != networks[5].weights["c1.weight"]).any()


def test_other_numbers_than_ours_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that does not match its check sum is no installation to measure with."""
    monkeypatch.setattr(network_file, "SHA256", "0" * 64)

    with pytest.raises(PenultError, match="missing or damaged"):
        network_file.shoe_networks.__wrapped__()
