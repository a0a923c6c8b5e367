"""The textbook method of characteristics, plain and slow: the oracle the kernel is checked against.

N reaches, friction and wall shear at every node, friction from its own Reynolds number, the pump's end solved by
bisection on the body head (every outflow rises with head, so the balance has one root), the valve moved in steps of one
reach. Heads and flows at the pump are means over a step; storage and valve are of second order, as in
:mod:`clackwork.ram.kernel`, with which it shares the friction factor and no shortcut.
Source: Wylie and Streeter, Fluid Transients (from memory).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from clackwork._cache import ensure_cache_dir

ensure_cache_dir()

from numba import njit  # noqa: E402  (the cache folder has to be known before numba is imported)

from clackwork.ram.kernel import terminal_velocity  # noqa: E402
from clackwork.ram.pipe_losses import darcy_friction  # noqa: E402

FloatArray = NDArray[np.float64]
Node = tuple[float, ...]

ORACLE_RESULTS = (
    "state",
    "beats",
    "beat_period",
    "waste_flow",
    "delivered_flow",
    "drawn_flow",
    "peak_head",
    "simulated_time",
)


@njit(cache=True, nogil=True, error_model="numpy")
def _outflow(head: float, delivering: bool, node: Node) -> tuple[float, float, float]:
    """Waste, delivery and storage flow at a body head; storage counts what the moving valve sweeps.

    ``node`` is waste factor, vessel head, loss of the delivery valve; compliance, volume and head of the trapped air,
    head before; step, outside pressure's head; piston, push, give and what is owed of the valve; wave and impedance;
    volume stored in the step before. The rate of storage is the backward difference of second order.
    """
    waste_factor, vessel_head, k_delivery, compliance, air_volume, air_head, head_before = node[:7]
    dt, atmos, piston, push, give, owed = node[7:13]
    stored_before = node[15]
    waste = math.copysign(waste_factor * math.sqrt(abs(head)), head)
    delivered = 0.0
    if delivering:
        difference = head - vessel_head
        delivered = math.copysign(math.sqrt(abs(difference) / k_delivery), difference)
    stored = compliance * (head - head_before)
    if air_volume > 0.0:
        pressure = max(head + atmos, 1e-3)
        stored += air_volume - air_volume * air_head / pressure
    storage = (1.5 * stored - 0.5 * stored_before) / dt
    storage -= piston * (push + give * head) + owed
    return waste, delivered, storage


@njit(cache=True, nogil=True, error_model="numpy")
def _body_head(delivering: bool, node: Node) -> float:
    """Body head at which inflow from the pipe equals the flows out, by bisection."""
    air_volume, atmos, wave, impedance = node[4], node[8], node[13], node[14]
    low, high = -atmos + 1e-3 if air_volume > 0.0 else -2000.0, 5000.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        waste, delivered, storage = _outflow(middle, delivering, node)
        if waste + delivered + storage > (wave - middle) / impedance:
            high = middle
        else:
            low = middle
    return 0.5 * (low + high)


@njit(cache=True, nogil=True, error_model="numpy")
def _spread(opening: float, seat_bore: float) -> float:
    """Share of the seat's area squared that curtain and seat in series leave free."""
    curtain, seat_area = math.pi * seat_bore * opening, math.pi * seat_bore**2 / 4.0
    return curtain**2 / (curtain**2 + seat_area**2)


@njit(cache=True, nogil=True, error_model="numpy")
def simulate_plain(p: FloatArray, reaches: int, beats_wanted: int, most_time: float, result: FloatArray) -> None:
    """Step one ram by characteristics over a number of beats and average the last half of them.

    Parameters
    ----------
    p : float64[len(kernel.PARAMETERS)]
        The kernel's own parameter array; held vessel head or delivery shut only.
    reaches : int
    beats_wanted : int
    most_time : float
        [s]
    result : float64[len(ORACLE_RESULTS)]
        Filled in; state 0 beating, 1 stalled open, 2 stalled shut, as in the kernel.
    """
    gravity, density, viscosity, vapour_head, atmos = p[0], p[1], p[2], p[3], p[4]
    supply_head, supply_area = p[5], p[6]
    length, bore, roughness, entry_loss, wave_speed, friction_scale = p[7], p[8], p[9], p[10], p[11], p[12]
    mass, load_shut, load_open, damping, restitution = p[13], p[14], p[15], p[16], p[17]
    stroke, seat_bore, discharge, closing = p[18], p[19], p[20], p[21]
    delivery_bore, delivery_loss, cracking, slip_volume = p[22], p[23], p[24], p[25]
    body_air, compliance, vessel_head = p[26], p[27], p[28]
    shut = p[35] > 0.5
    wait_open, wait_shut = p[42], p[43]

    area = math.pi * bore**2 / 4.0
    impedance = wave_speed / (gravity * area)
    reach = length / reaches
    dt = reach / wave_speed
    seat_area = math.pi * seat_bore**2 / 4.0
    delivery_area = math.pi * delivery_bore**2 / 4.0
    k_delivery = delivery_loss / (2.0 * gravity * delivery_area**2)

    head = np.full(reaches + 1, supply_head)
    flow = np.zeros(reaches + 1)
    plus = np.zeros(reaches + 1)
    minus = np.zeros(reaches + 1)
    opening, speed, body_head = stroke, 0.0, supply_head
    head_before, stored_before = 0.0, 0.0
    air_volume, air_head = body_air, atmos
    cavity, slip_left = 0.0, 0.0
    delivering, been_open, owed = False, True, 0.0
    beats, last_event, time = 0, 0.0, 0.0
    total_waste = total_delivered = total_drawn = 0.0
    start = beats_wanted // 2
    mark_time = mark_waste = mark_delivered = mark_drawn = 0.0
    peak = -1e9
    state = 4.0
    # unsteady wall shear at every node, the weighting function as a close sum of exponentials
    terms = 16
    tau = 4.0 * viscosity * dt / bore**2
    reynolds_mean = max(0.5 * terminal_velocity(p) * bore / viscosity, 2000.0)
    shear_decay = reynolds_mean ** math.log10(15.29 / reynolds_mean**0.0567) / 12.86
    fastest, slowest = 2.7 / tau, 0.25 * shear_decay
    spacing = math.log(fastest / slowest) / (terms - 1)
    rate = fastest * np.exp(-spacing * np.arange(terms))
    fall = (rate + shear_decay) * tau
    decay = np.exp(-fall)
    weight = spacing * np.sqrt(rate) / (2.0 * math.pi)
    weight[terms - 1] /= 1.0 - math.exp(-0.5 * spacing)  # stands for all slower ones
    gain = np.zeros(terms + 1)
    gain[:terms] = weight * (1.0 - decay) / fall
    gain[terms] = 1.0 / math.sqrt(math.pi * tau) - np.sum(gain)  # all faster ones, spent within the step
    gain *= p[44] * 16.0 * viscosity * reach / (gravity * bore**2 * area)
    memory = np.zeros((reaches + 1, terms))
    before = np.zeros(reaches + 1)
    wall = np.zeros(reaches + 1)
    while time < most_time:
        for i in range(reaches + 1):
            wall[i] = 0.0
            for k in range(terms):
                memory[i, k] = memory[i, k] * decay[k] + gain[k] * (flow[i] - before[i])
                wall[i] += memory[i, k]
            wall[i] += gain[terms] * (flow[i] - before[i])
            before[i] = flow[i]
            velocity = abs(flow[i]) / area
            reynolds = max(velocity * bore / viscosity, 1.0)
            friction = friction_scale * darcy_friction(reynolds, roughness / bore)
            loss = friction * reach / bore * flow[i] * abs(flow[i]) / (2.0 * gravity * area**2)
            loss += wall[i]
            plus[i] = head[i] + impedance * flow[i] - loss
            minus[i] = head[i] - impedance * flow[i] + loss
        for i in range(1, reaches):
            head[i] = 0.5 * (plus[i - 1] + minus[i + 1])
            flow[i] = (plus[i - 1] - minus[i + 1]) / (2.0 * impedance)
        # supply: H = Hs - (1 + entry) V^2 / 2g inwards, H = Hs outwards
        difference = supply_head - minus[1]
        if difference > 0.0:
            k = (1.0 + entry_loss) / (2.0 * gravity * area**2)
            flow[0] = (-impedance + math.sqrt(impedance**2 + 4.0 * k * difference)) / (2.0 * k)
        else:
            flow[0] = difference / impedance
        head[0] = minus[1] + impedance * flow[0]
        supply_head -= flow[0] * dt / supply_area
        # pump
        wave = plus[reaches - 1]
        # a moving valve sweeps water: its mean speed over the step is push + give * head, by the forces at the step's
        # beginning, where the head is the mean of this step's and the last one's
        relief = 1.0 - (1.0 - closing) * _spread(opening, seat_bore)
        load = load_shut + (load_open - load_shut) * opening / stroke
        piston = push = give = 0.0
        middle = end = opening
        part = 1.0
        if speed != 0.0 or 0.0 < opening < stroke:
            hold = 0.5 * dt * damping / mass
            half_force = 0.5 * density * gravity * seat_area * relief
            push = (speed * (1.0 - hold) + dt / mass * (load - half_force * head_before)) / (1.0 + hold)
            give = -dt / mass * half_force / (1.0 + hold)
            end = opening + dt * (push + give * head_before)
            if end < 0.0:
                part, end = opening / (opening - end), 0.0
            elif end > stroke:
                part, end = (stroke - opening) / (end - opening), stroke
            middle = 0.5 * (opening + end)
            piston = seat_area * (1.0 - (1.0 - closing) * _spread(middle, seat_bore))
        # open area: its mean over the way of the valve, and what it comes to rest on for the rest of the step
        waste_factor = part * math.sqrt(_spread(middle, seat_bore)) + (1.0 - part) * math.sqrt(_spread(end, seat_bore))
        waste_factor *= discharge * seat_area * math.sqrt(2.0 * gravity)
        meets, meeting = False, 0.0
        for attempt in range(2):
            node = (waste_factor, vessel_head, k_delivery, compliance, air_volume, air_head, head_before,
                    dt, atmos, piston, push, give, owed, wave, impedance, stored_before)  # fmt: skip
            open_now, opened = delivering, False
            body_head = _body_head(open_now, node)
            if not shut and not open_now and body_head > vessel_head + cracking:
                open_now = opened = True
                body_head = _body_head(open_now, node)
            if open_now and body_head < vessel_head and (opened or slip_left <= 0.0):
                open_now = False
                body_head = _body_head(open_now, node)
            # a valve that meets a stop in this step sweeps only what is left of its way
            if attempt == 0:
                meeting = push + give * max(body_head, vapour_head)
            reached = opening + dt * meeting
            if piston == 0.0 or attempt == 1 or 0.0 < reached < stroke:
                break
            push, give = ((0.0 if reached <= 0.0 else stroke) - opening) / dt, 0.0
            meets = True
        delivering = open_now
        if opened:
            slip_left = 0.0
        if cavity > 0.0 or body_head < vapour_head:
            body_head, delivering = vapour_head, False
        waste, delivered, storage = _outflow(body_head, delivering, node)
        inflow = (wave - body_head) / impedance
        overfull = 0.0
        if body_head == vapour_head:
            cavity += (waste + delivered + storage - inflow) * dt
            if cavity < 0.0:
                overfull, cavity = -cavity / dt, 0.0
        if delivering:
            slip_left = min(slip_volume, slip_left + delivered * dt)
        stored_before = compliance * (body_head - head_before)
        if body_air > 0.0:
            stored_before += air_volume - air_volume * air_head / (body_head + atmos)
            air_volume = air_volume * air_head / (body_head + atmos)
            air_head = body_head + atmos
        mean_head, head_before = 0.5 * (head_before + body_head), body_head
        head[reaches], flow[reaches] = body_head, inflow
        total_waste += waste * dt
        total_delivered += delivered * dt
        total_drawn += flow[0] * dt
        if beats >= start:
            peak = max(peak, body_head)
        # waste valve
        place = opening
        force = load - density * gravity * mean_head * seat_area * relief
        at_rest = speed == 0.0 and ((opening >= stroke and force >= 0.0) or (opening <= 0.0 and force <= 0.0))
        if not at_rest:
            hold = 0.5 * dt * damping / mass
            speed = meeting if meets else (speed * (1.0 - hold) + dt * force / mass) / (1.0 + hold)
            opening += speed * dt
            if opening >= stroke:
                opening = stroke
                speed = -restitution * speed if restitution * speed > max(0.02, dt * force / mass) else 0.0
            elif opening <= 0.0:
                opening = 0.0
                landed = min(max(-place / (speed * dt), 0.0), 1.0)
                speed = -restitution * speed if -restitution * speed > max(0.02, -dt * force / mass) else 0.0
                if been_open:
                    been_open = False
                    beats += 1
                    last_event = time
                    if beats == start:
                        mark_time, mark_waste = time + (landed - 1.0) * dt, total_waste
                        mark_delivered, mark_drawn = total_delivered, total_drawn
                    if beats == beats_wanted:
                        time += (landed - 1.0) * dt
                        state = 0.0
                        break
            if not been_open and opening > 0.5 * stroke:
                been_open = True
                last_event = time
        swept = piston if piston > 0.0 else seat_area * relief
        owed = overfull + swept * (opening - place) / dt - piston * (push + give * body_head)
        time += dt
        if been_open and time - last_event > wait_open:
            state = 1.0
            break
        if not been_open and time - last_event > wait_shut:
            state = 2.0
            break
    result[0], result[1], result[6], result[7] = state, beats, peak, time
    if state == 0.0:
        duration = time - mark_time
        result[2] = duration / (beats_wanted - start)
        result[3] = (total_waste - mark_waste) / duration
        result[4] = (total_delivered - mark_delivered) / duration
        result[5] = (total_drawn - mark_drawn) / duration
