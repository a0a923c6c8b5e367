"""Heads and flows where drive pipe, waste valve and delivery valve meet, compiled: the body of the pump in one step."""

from __future__ import annotations

import math

import numpy as np

from clackwork._cache import ensure_cache_dir

ensure_cache_dir()

from numba import njit  # noqa: E402  (the cache folder has to be known before numba is imported)

_SAME_FLOW = 1e-10


@njit(cache=True, nogil=True, error_model="numpy")
def node_flow(g_sum: float, source: float, waste: float, vessel: float, k_delivery: float) -> float:
    """Delivered flow [m3/s] where waste valve and delivery valve are both open (signed).

    Solves G H + waste * sgn(H) sqrt|H| + Q = S with H = Hv + k Q|Q|, whose left side only rises with Q: Newton's
    steps, and halves of the range known to hold the root where they do not serve (about H = 0).

    Parameters
    ----------
    g_sum : float
        Sum of the conductances to the head: pipe, compliance, moving valve [m2/s].
    source : float
        What would flow in at no head [m3/s].
    waste : float
        Outflow of the waste valve at one metre of head [m2.5/s].
    vessel : float
        Head in the vessel [m].
    k_delivery : float
        Loss of the delivery valve over its flow squared [s2/m5].
    """
    gap = source - g_sum * vessel
    if waste > 0.0:
        gap -= waste * math.copysign(math.sqrt(abs(vessel)), vessel)
    size = (-1.0 + math.sqrt(1.0 + 4.0 * g_sum * k_delivery * abs(gap))) / (2.0 * g_sum * k_delivery)
    flow = math.copysign(size, gap)
    if waste > 0.0:
        low, high, last = min(gap, 0.0), max(gap, 0.0), np.inf
        for _ in range(80):
            head = vessel + k_delivery * flow * abs(flow)
            root = math.sqrt(abs(head)) + 1e-9
            value = g_sum * head + waste * math.copysign(root, head) + flow - source
            if abs(value) <= _SAME_FLOW * (abs(source) + waste * root):
                break
            if value > 0.0:
                high = flow
            else:
                low = flow
            slope = (g_sum + 0.5 * waste / root) * 2.0 * k_delivery * abs(flow) + 1.0
            flow -= value / slope
            if abs(value) > 0.5 * last or not (low < flow and flow < high):
                flow = 0.5 * (low + high)
            last = abs(value)
    return flow


@njit(cache=True, nogil=True, error_model="numpy")
def waste_head(g_sum: float, source: float, waste: float) -> float:
    """Body head [m] with the delivery valve shut, G H + waste * sgn(H) sqrt|H| = S; arguments of :func:`node_flow`."""
    if waste <= 0.0:
        return source / g_sum
    root = 0.5 * (-waste + math.sqrt(waste * waste + 4.0 * g_sum * abs(source))) / g_sum
    return math.copysign(root * root, source)
