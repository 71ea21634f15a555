"""A small network that looks at the pictures of one shoe: convolutions over each picture, then over time. Arithmetic only.

What it is fed and what its answers mean is told in `bearing`; how it was trained in `tests/training`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]

PICTURE_LAYERS = (("c1", 2, 2), ("c2", 2, 1), ("c3", 2, 1), ("c4", 2, 1))
"""Convolutions over a picture: name, stride, border of zeros."""

SPANS = (1, 2, 4, 8, 1)
"""Distance in frames of the neighbours that each convolution over time takes in."""

AT_ONCE = 12
"""Pictures worked on together: what they take then stays within a processor's cache."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """The weights of one trained network by the names of its layers; float32.

    `slow` marks one that was trained for few pictures a second (see `bearing.SLOWEST_HZ`).
    """

    weights: Mapping[str, Array]
    slow: bool = False


def answers(networks: Sequence[Network], planes: Array, scalars: Array) -> list[tuple[Array, Array]]:
    """Return what each network says.

    Parameters
    ----------
    networks : sequence of Network
        All of one shape.
    planes : (n, h, w, c) float32
        What is seen in each of n pictures.
    scalars : (n, s) float32
        What else is known at each.

    Returns
    -------
    list of ((n, 10), (9,))
        Of each network: answers at every picture, and of the whole contact.
    """
    first = [_folded(n.weights["c1.weight"]) for n in networks]
    together = np.concatenate(first, axis=1)
    bias = np.concatenate([n.weights["c1.bias"] for n in networks])
    name, stride, border = PICTURE_LAYERS[0]
    size = networks[0].weights[f"{name}.weight"].shape[2]
    features: list[list[Array]] = [[] for _ in networks]
    for start in range(0, len(planes), AT_ONCE):
        seen = _convolved(planes[start : start + AT_ONCE], together, bias, (size, stride, border))
        parts = np.split(seen, len(networks), axis=-1)
        for of_one, network, part in zip(features, networks, parts, strict=True):
            of_one.append(_of_pictures(network, part))
    return [
        _over_time(network, np.concatenate([np.concatenate(of_one), scalars], axis=1))
        for network, of_one in zip(networks, features, strict=True)
    ]


def _of_pictures(network: Network, seen: Array) -> Array:
    """The remaining convolutions over each picture, and its features (n, d)."""
    weights = network.weights
    for name, stride, border in PICTURE_LAYERS[1:]:
        kernel = weights[f"{name}.weight"]
        seen = _convolved(seen, _folded(kernel), weights[f"{name}.bias"], (kernel.shape[2], stride, border))
    flat = seen.transpose(0, 3, 1, 2).reshape(len(seen), -1)
    return _positive(flat @ weights["fc.weight"].T + weights["fc.bias"])


def _over_time(network: Network, features: Array) -> tuple[Array, Array]:
    weights = network.weights
    state = _positive(_in_time(features, weights["t0.weight"], weights["t0.bias"], 0))
    for i, span in enumerate(SPANS):
        mixed = _positive(_in_time(state, weights[f"tb.{i}.weight"], weights[f"tb.{i}.bias"], span))
        state = state + _in_time(mixed, weights[f"tp.{i}.weight"], weights[f"tp.{i}.bias"], 0)
    each = _in_time(state, weights["head.weight"], weights["head.bias"], 0)
    looked_at = np.exp(each[:, -1] - each[:, -1].max())
    looked_at /= looked_at.sum()
    summary = np.concatenate([looked_at @ state, state.mean(axis=0)])
    hidden = _positive(summary @ weights["g1.weight"].T + weights["g1.bias"])
    return each, np.asarray(hidden @ weights["g2.weight"].T + weights["g2.bias"])


def _positive(values: Array) -> Array:
    return np.asarray(np.maximum(values, 0.0), dtype=np.float32)


def _folded(kernel: Array) -> Array:
    """A kernel (out, in, k, k) as a matrix (k k in, out)."""
    return np.ascontiguousarray(kernel.transpose(2, 3, 1, 0).reshape(-1, len(kernel)))


def _convolved(seen: Array, kernel: Array, bias: Array, shape: tuple[int, int, int]) -> Array:
    """Convolve pictures (n, h, w, c) with a folded kernel of the given size, stride and border; negative answers become 0."""
    size, stride, border = shape
    n, h, w, c = seen.shape
    wide = np.zeros((n, h + 2 * border, w + 2 * border, c), dtype=np.float32)
    wide[:, border : border + h, border : border + w] = seen
    rows, columns = (h + 2 * border - size) // stride + 1, (w + 2 * border - size) // stride + 1
    windows = np.lib.stride_tricks.sliding_window_view(wide, (size, size), axis=(1, 2))[:, ::stride, ::stride]
    folded = windows.transpose(0, 1, 2, 4, 5, 3).reshape(n * rows * columns, size * size * c)
    return _positive(folded @ kernel + bias).reshape(n, rows, columns, -1)


def _in_time(state: Array, kernel: Array, bias: Array, span: int) -> Array:
    """Convolve along time: each row with itself and, for a kernel of three, with the rows a span before and after."""
    middle = kernel.shape[2] // 2
    out = state @ kernel[:, :, middle].T + bias
    if middle and span < len(state):
        out[span:] += state[:-span] @ kernel[:, :, 0].T
        out[:-span] += state[span:] @ kernel[:, :, 2].T
    return np.asarray(out, dtype=np.float32)
