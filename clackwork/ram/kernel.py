"""The compiled kernel: one ram on one drive pipe, stepped through its beats.

The drive pipe is a chain of ``n`` lumped friction losses at the middles of ``n`` equal lengths, joined by
stretches of lossless pipe. A lossless stretch only delays its two travelling waves, H + B Q downstream and
H - B Q upstream with B = a / (g A) (Wylie and Streeter, Fluid Transients; from memory), so a block of time steps
no longer than the shortest delay is known in advance at every loss: losses cost a few multiplications a step and
the cost does not grow with the resolution in time (:mod:`clackwork.ram.pipe_losses`). Only the pump's end of the
pipe is stepped in sequence: body head, waste valve, delivery valve, trapped air, vessel and line.

Everything is SI, heads in metres above the datum. Arguments travel in one array (a compiled call with forty
scalars costs more than the array): ``PARAMETERS`` and ``RESULTS`` name its places.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from clackwork._cache import ensure_cache_dir

ensure_cache_dir()

from numba import njit  # noqa: E402  (the cache folder has to be known before numba is imported)

from clackwork.ram.layout import (  # noqa: E402
    BEATING,
    IRREGULAR,
    PARAMETERS,
    RESULTS,
    STALLED_OPEN,
    STALLED_SHUT,
    TRACE_COLUMNS,
    UNSETTLED,
    P,
    R,
)
from clackwork.ram.node import node_flow, waste_head  # noqa: E402
from clackwork.ram.open_flow import terminal_velocity  # noqa: E402
from clackwork.ram.pipe_losses import (  # noqa: E402
    FRICTION_POINTS,
    WALL_TERMS,
    fill_friction_table,
    loss_work,
    pass_junction,
    pass_losses,
    pass_mouth,
    read_friction,
    spent_in,
    start_losses,
    wall_shear_terms,
    wave_room,
)
from clackwork.ram.rest import SUMS, fill_trace, pass_steps  # noqa: E402
from clackwork.ram.settling import tell_means, window_settled, window_width  # noqa: E402

__all__ = [
    "BEATING", "IRREGULAR", "PARAMETERS", "RESULTS", "STALLED_OPEN", "STALLED_SHUT", "TRACE_COLUMNS",
    "UNSETTLED", "P", "R", "simulate", "terminal_velocity",
]  # fmt: skip

FloatArray = NDArray[np.float64]

_REBOUND = 0.02
"""Slower rebounds [m/s], or such as the load undoes within a step, are none."""
_TALLIES = 17
"""Columns of the running totals kept at each beat; 8 to 15 are energies over rho g [m4]."""
_BALANCED_BEATS = 3
_BALANCE_SHARE, _BALANCE_TOLERANCE = 0.5, 1e-3
"""A balanced vessel's head goes by this share, each beat, to what the line asks for the mean flow of so many beats, and
must meet it within this tolerance over the beats averaged."""
_LAST_CHANCE = 3.0
"""Times the tolerance within which the means of the last beats allowed have to agree."""
_CHOKED = 0.47
"""Share of the outside pressure beyond which more suction draws no more air (air, isentropic; textbook)."""


@njit(cache=True, nogil=True, error_model="numpy")
def _line_loss(flow: float, fixed: float, table: FloatArray, scale: float) -> float:
    """Head lost in the delivery line at a steady flow [m3/s] that is not negative [m]."""
    return (read_friction(table, scale, flow) + fixed) * flow * flow


@njit(cache=True, nogil=True, error_model="numpy")
def simulate(p: FloatArray, result: FloatArray, trace: FloatArray, trace_stride: int) -> int:
    """Step one ram until its beats settle, it stalls, or the beats or time allowed are used up.

    Parameters
    ----------
    p : float64[len(PARAMETERS)]
    result : float64[len(RESULTS)]
        Filled in.
    trace : float64[:, len(TRACE_COLUMNS)]
        Filled every ``trace_stride`` steps while room is left; zero rows for none.
    trace_stride : int

    Returns
    -------
    int
        Rows of ``trace`` filled.
    """
    gravity, density, viscosity = p[0], p[1], p[2]
    vapour_head, atmospheric_head = p[3], p[4]
    supply_head, supply_area = p[5], p[6]
    length, bore, roughness, entry_loss, wave_speed, friction_scale = p[7], p[8], p[9], p[10], p[11], p[12]
    mass, load_shut, load_open, damping, restitution = p[13], p[14], p[15], p[16], p[17]
    stroke, seat_bore, discharge, closing = p[18], p[19], p[20], p[21]
    delivery_bore, delivery_loss, cracking, slip_volume = p[22], p[23], p[24], p[25]
    body_air, body_compliance = p[26], p[27]
    vessel_head, vessel_held, vessel_air, polytropic = p[28], p[29] > 0.5, p[30], p[31]
    balanced = p[29] > 1.5
    line_lift, line_fittings, line_length, line_bore, line_roughness = p[32], p[33], p[34], p[47], p[48]
    delivery_shut = p[35] > 0.5
    n, half = int(p[36]), int(p[37])
    least_beats, most_beats, tolerance, most_time = int(p[38]), int(p[39]), p[40], p[41]
    wait_open, wait_shut = p[42], p[43]
    unsteady, start_velocity, start_opening = p[44], p[45], p[46]
    rest_opening, air_density, feed_inertance, feed_loss = p[50], p[53], p[54], p[55]
    root_2g = math.sqrt(2.0 * gravity)
    waste_leak, delivery_leak, snifter, snifter_room = p[49] * root_2g, p[51] * root_2g, p[52] * root_2g, p[66]

    upper, top = int(p[60]) if p[56] > 0.0 else 0, int(p[65]) if p[61] > 0.0 else 0
    above = upper + top

    area = 0.25 * math.pi * bore * bore
    impedance = wave_speed / (gravity * area)
    inverse_impedance = 1.0 / impedance
    mouth_bore, mouth_speed = bore, wave_speed
    if upper > 0:
        mouth_bore, mouth_speed = p[57], p[59]
    if top > 0:
        mouth_bore, mouth_speed = p[62], p[64]
    mouth_area = 0.25 * math.pi * mouth_bore * mouth_bore
    mouth_impedance = mouth_speed / (gravity * mouth_area)
    upper_impedance = p[59] / (gravity * 0.25 * math.pi * p[57] * p[57]) if upper > 0 else impedance
    dt = length / wave_speed / (2 * n * half)
    rate = 1.0 / dt
    step_over_mass, kept_speed = dt / mass, 1.0 / (1.0 + 0.5 * dt * damping / mass)
    damped = (1.0 - 0.5 * dt * damping / mass) * kept_speed
    load_slope = (load_open - load_shut) / stroke
    seat_area = 0.25 * math.pi * seat_bore * seat_bore
    curtain_ratio = math.pi * seat_bore / seat_area
    waste_factor = discharge * seat_area * root_2g
    closing_force = density * gravity * seat_area
    delivery_area = 0.25 * math.pi * delivery_bore * delivery_bore
    k_delivery = delivery_loss / (2.0 * gravity * delivery_area * delivery_area)
    mouth = ((1.0 + entry_loss) / (2.0 * gravity * mouth_area * mouth_area), mouth_impedance, 1.0 / mouth_impedance)

    # friction of one lump, h = r Q|Q|, tabled up to a generous highest flow
    highest = area * max(2.0 * math.sqrt(2.0 * gravity * max(supply_head, 0.1)), 3.0)
    table = np.empty(FRICTION_POINTS + 1)
    fill_friction_table(table, highest, bore, roughness, viscosity, friction_scale * (length / n) / gravity)
    table_scale = FRICTION_POINTS / math.sqrt(highest)

    line_area = 0.25 * math.pi * line_bore * line_bore
    line_highest = 4.0 * highest
    line_table = np.zeros(FRICTION_POINTS + 1)
    if balanced or not vessel_held:
        fill_friction_table(line_table, line_highest, line_bore, line_roughness, viscosity, line_length / gravity)
    line_scale = FRICTION_POINTS / math.sqrt(line_highest)
    line_fixed = line_fittings / (2.0 * gravity * line_area * line_area)
    line_inertance = line_length / (gravity * line_area)

    forward, backward, work = wave_room(above + n, half, n)
    forward[:], backward[:] = supply_head, supply_head
    for i in range(above + n + 1):
        # waves of a steady start, each with the impedance of the pipe it runs in
        here = impedance if i > above else (upper_impedance if i > top else mouth_impedance)
        forward[:, :, i] += here * area * start_velocity
        here = impedance if i >= above else (upper_impedance if i >= top else mouth_impedance)
        backward[:, :, i] -= here * area * start_velocity
    upper_work = loss_work(upper)
    top_work = loss_work(top)
    wall_terms, upper_terms = np.zeros((2, WALL_TERMS + 2)), np.zeros((2, WALL_TERMS + 2))
    top_terms = np.zeros((2, WALL_TERMS + 2))
    upper_table, top_table = np.zeros(FRICTION_POINTS + 1), np.zeros(FRICTION_POINTS + 1)
    mean_velocity = 0.5 * terminal_velocity(p)
    wall_shear_terms(wall_terms, dt, unsteady * (length / n) / gravity, bore, viscosity, mean_velocity, impedance)
    for losses, at, its_table, its_terms, its_impedance in (
        (upper, 56, upper_table, upper_terms, upper_impedance),
        (top, 61, top_table, top_terms, mouth_impedance),
    ):
        if losses > 0:
            stretch, its_bore = p[at] / losses / gravity, p[at + 1]
            fill_friction_table(its_table, highest, its_bore, p[at + 2], viscosity, friction_scale * stretch)
            its_velocity = mean_velocity * (bore / its_bore) ** 2
            wall_shear_terms(its_terms, dt, unsteady * stretch, its_bore, viscosity, its_velocity, its_impedance)
    if start_velocity != 0.0:
        start_losses(work, area * start_velocity, wall_terms)
        start_losses(upper_work, area * start_velocity, upper_terms)
        start_losses(top_work, area * start_velocity, top_terms)

    # what the steps with both valves at rest need, and their tallies
    may_rest = body_air <= 0.0 and snifter <= 0.0 and delivery_leak <= 0.0 and vessel_held
    at_rest, quiet_square, quiet_balance, quiet_side = False, 0.0, 0.0, 1.0
    quiet_give, quiet_kept = 1.5 * body_compliance * rate, 0.5 * body_compliance * rate
    inverse_compliance = 1.0 / max(body_compliance, 1e-15)
    quiet_scale = 4.0 * (inverse_impedance + quiet_give)
    quiet_half = 2.0 / quiet_scale
    quiet_wasted, quiet_spent, quiet_stored, highest_inflow, quiet_steps = 0.0, 0.0, 0.0, 0.0, 0
    quiet_highest = 1e9 if delivery_shut else vessel_head + cracking

    may_block, sums = above == 0 and feed_inertance <= 0.0, np.zeros(SUMS)

    marks = np.zeros((most_beats + 2, _TALLIES))
    tally = np.zeros(_TALLIES)
    owed = 0.0
    opening, speed = max(start_opening * stroke, rest_opening), 0.0
    opening_known, waste_open, relief, load = -1.0, 0.0, 1.0, load_shut
    head_before, stored_before = 0.0, 0.0
    air_pressure_head = atmospheric_head
    air_amount, air_volume = body_air, body_air
    snifted, cavity, largest_cavity = 0.0, 0.0, 0.0
    delivering, delivered = False, 0.0
    slip_left = 0.0
    source_head, feed_flow = supply_head, 0.0
    line_flow, vessel_air_now = 0.0, vessel_air
    vessel_abs_start = vessel_head + atmospheric_head
    beats, checked = 0, 0
    inflow, velocity, waste_now = 0.0, 0.0, 0.0
    been_open = opening > rest_opening
    time, last_event, beat_highest_velocity = 0.0, 0.0, 0.0
    beat_peak, beat_lowest, beat_landing_open = -1e9, 1e9, 0.0
    per_beat = np.zeros((most_beats + 2, 6))
    vessel_low, vessel_high = 1e9, -1e9
    state, settled = UNSETTLED, False
    rows, step, block = 0, 0, 0
    while True:
        # blocks with the valves at rest in a loop of their own; it hands on one begun at its step j, or none (-1)
        j = -1
        if at_rest and speed == 0.0 and owed == 0.0 and may_block and cavity <= 0.0 and rows >= trace.shape[0]:
            sums[0], sums[1], sums[2] = time, supply_head, head_before
            sums[3], sums[4], sums[5] = stored_before, inflow, waste_now
            sums[6], sums[7], sums[8] = tally[3], tally[8], tally[9]
            sums[9], sums[10], sums[11] = quiet_wasted, quiet_spent, quiet_stored
            sums[12], sums[13], sums[14] = highest_inflow, beat_peak, beat_lowest
            # the last blocks before the time is up are left to this loop, which ends the run
            ends = min(most_time, last_event + (wait_open if been_open else wait_shut)) - 2.5 * half * dt
            pump = (
                waste_open, quiet_square, quiet_give, quiet_kept, inverse_impedance, body_compliance, inverse_compliance,
            )  # fmt: skip
            block, j = pass_steps(
                forward, backward, (table, table_scale, wall_terms, work), n, block, ends, dt,
                mouth, supply_area, pump,
                (vapour_head, quiet_highest, quiet_balance, quiet_side), sums,
            )  # fmt: skip
            time, supply_head, head_before = sums[0], sums[1], sums[2]
            stored_before, inflow, waste_now = sums[3], sums[4], sums[5]
            tally[3], tally[8], tally[9] = sums[6], sums[7], sums[8]
            quiet_wasted, quiet_spent, quiet_stored = sums[9], sums[10], sums[11]
            highest_inflow, beat_peak, beat_lowest = sums[12], sums[13], sums[14]
            quiet_steps, step, velocity = quiet_steps + int(sums[15]), step + int(sums[15]), inflow / area
        before = (block + 2) % 3
        if j < 0:
            # supply; what leaves an end comes to its loss a block later, at a loss from its neighbour two blocks later
            drawn, tally[9] = pass_mouth(forward, backward, before, supply_head, mouth, dt, tally[9])
            tally[3] += drawn * dt
            tally[8] += supply_head * drawn * dt
            if feed_inertance > 0.0:
                pull = source_head - supply_head - feed_loss * feed_flow * abs(feed_flow)
                feed_flow += half * dt * pull / feed_inertance
                supply_head += half * dt * feed_flow / supply_area
            supply_head -= drawn * dt / supply_area
            if above > 0:
                pass_junction(forward, backward, before, above, upper_impedance, impedance)
                if top > 0:
                    pass_junction(forward, backward, before, top, mouth_impedance, upper_impedance)
                    pass_losses(block, forward, backward, 0, top_table, table_scale, top_terms, top_work)
                pass_losses(block, forward, backward, top, upper_table, table_scale, upper_terms, upper_work)
            pass_losses(block, forward, backward, above, table, table_scale, wall_terms, work)
            j = 0
        # pump
        while j < half:
            if at_rest and speed == 0.0 and owed == 0.0 and not delivering and cavity <= 0.0:
                # valves at rest, no air, no snifter: one root from wave to head, until something is about to move
                quiet = 0
                head_older = head_before - stored_before * inverse_compliance
                while j < half:
                    wave = forward[before, j, above + n]
                    source = (
                        wave * inverse_impedance - quiet_kept * head_older + (quiet_give + quiet_kept) * head_before
                    )
                    root = (math.sqrt(quiet_square + quiet_scale * abs(source)) - waste_open) * quiet_half
                    head = math.copysign(root * root, source)
                    mean_head = 0.5 * (head + head_before)
                    if head < vapour_head or head > quiet_highest or (mean_head - quiet_balance) * quiet_side > 0.0:
                        break
                    backward[before, j, above + n] = 2.0 * head - wave
                    waste_now = math.copysign(waste_open * root, source)
                    inflow = (wave - head) * inverse_impedance
                    head_older, head_before = head_before, head
                    quiet_wasted += waste_now
                    quiet_spent += head * waste_now
                    quiet_stored += head * (inflow - waste_now)
                    highest_inflow = max(highest_inflow, inflow)
                    beat_peak, beat_lowest = max(beat_peak, head), min(beat_lowest, head)
                    if rows < trace.shape[0] and (step + quiet) % trace_stride == 0:
                        fill_trace(
                            trace, rows, (time + quiet * dt, head, inflow / area, opening, vessel_head, waste_now, 0.0)
                        )
                        rows += 1
                    j += 1
                    quiet += 1
                stored_before = body_compliance * (head_before - head_older)
                step += quiet
                time += quiet * dt
                quiet_steps += quiet
                velocity = inflow / area
                if j >= half:
                    break
            at_rest = False
            if quiet_steps > 0:
                tally[1] += quiet_wasted * dt
                tally[11] += quiet_spent * dt
                tally[14] += quiet_stored * dt
                if opening >= stroke:
                    tally[4] += quiet_steps * dt
                if balanced:
                    tally[7] += quiet_steps * vessel_head * dt
                beat_highest_velocity = max(beat_highest_velocity, highest_inflow / area)
                quiet_wasted, quiet_spent, quiet_stored, highest_inflow, quiet_steps = 0.0, 0.0, 0.0, 0.0, 0
            wave = forward[before, j, above + n]
            if opening != opening_known:
                opening_known = opening
                ratio = curtain_ratio * opening
                spread = ratio * ratio / (1.0 + ratio * ratio)
                waste_open = waste_factor * math.sqrt(spread) + waste_leak
                relief = 1.0 - (1.0 - closing) * spread
                load = load_shut + load_slope * opening
            waste = waste_open
            back_leak, air_in = 0.0, 0.0
            # a moving valve displaces water as a piston; its speed at the end of the step is push + give * head
            piston, push, give = 0.0, 0.0, 0.0
            if speed != 0.0 or (rest_opening < opening and opening < stroke):
                half_force = 0.5 * closing_force * relief
                push = speed * damped + step_over_mass * kept_speed * (load - half_force * head_before)
                give = -step_over_mass * kept_speed * half_force
                way = dt * (push + give * head_before)
                part = 1.0
                if opening + way < rest_opening:
                    part = (rest_opening - opening) / way
                    way *= part
                elif opening + way > stroke:
                    part = (stroke - opening) / way
                    way *= part
                ratio = curtain_ratio * (opening + 0.5 * way)
                spread = ratio * ratio / (1.0 + ratio * ratio)
                waste = waste_factor * math.sqrt(spread)
                if part < 1.0:
                    ratio = curtain_ratio * (opening + way)
                    waste = part * waste + (1.0 - part) * waste_factor * math.sqrt(
                        ratio * ratio / (1.0 + ratio * ratio)
                    )
                waste += waste_leak
                piston = seat_area * (1.0 - (1.0 - closing) * spread)
            if snifter > 0.0:
                # air enters by suction; under pressure water leaves, or the air that has gathered down to the hole
                if head_before <= 0.0:
                    suction = min(-head_before, _CHOKED * atmospheric_head)
                    air_in = snifter * math.sqrt(suction * density / air_density) * dt
                elif snifted * atmospheric_head <= snifter_room * air_pressure_head:
                    waste += snifter
                else:
                    drop = min(head_before, _CHOKED * air_pressure_head)
                    squeezed = air_pressure_head / atmospheric_head
                    blown = snifter * math.sqrt(drop * density / (air_density * squeezed)) * squeezed * dt
                    air_in = -min(blown, snifted - snifter_room * squeezed)
                snifted += air_in
                air_amount += air_in
            if delivery_leak > 0.0 and not delivering and vessel_head > head_before:
                back_leak = delivery_leak * math.sqrt(vessel_head - head_before)
            # trapped air, isothermal: its secant compliance is V_old / p_new, found by substitution
            meets, meeting = False, 0.0
            for attempt in range(2):
                pressure = air_pressure_head
                for turn in range(8):
                    compliance = body_compliance
                    if air_amount > 0.0:
                        compliance += air_volume / pressure
                    compliance *= 1.5 * rate
                    g_sum = inverse_impedance + compliance - piston * give
                    source = wave * inverse_impedance + compliance * head_before + 0.5 * stored_before * rate
                    source += back_leak + piston * push + owed
                    if air_in != 0.0:
                        source += air_in * atmospheric_head / pressure * rate
                    head = waste_head(g_sum, source, waste)
                    passing, found = 0.0, head
                    if not delivery_shut and (delivering or head > vessel_head + cracking):
                        passing = node_flow(g_sum, source, waste, vessel_head, k_delivery)
                        if passing < -slip_left * rate:
                            # it seats within the step: no more comes back than went out
                            passing = -slip_left * rate
                            found = waste_head(g_sum, source - passing, waste)
                        else:
                            found = vessel_head + k_delivery * passing * abs(passing)
                    if air_amount <= 0.0:
                        break
                    absolute = max(found, vapour_head) + atmospheric_head
                    if abs(absolute - pressure) < 1e-3 * pressure:
                        break
                    pressure = absolute if turn == 0 else 0.5 * (absolute + pressure)
                if piston == 0.0 or attempt == 1:
                    break
                # a valve that meets a stop in this step sweeps only what is left of its way
                meeting = push + give * max(found, vapour_head)
                reached = opening + dt * meeting
                if rest_opening < reached and reached < stroke:
                    break
                push = ((rest_opening if reached <= rest_opening else stroke) - opening) * rate
                give = 0.0
                meets = True
            delivered = 0.0
            if not delivery_shut:
                if not delivering and head > vessel_head + cracking:
                    delivering = True
                    slip_left = 0.0
                if delivering:
                    # the valve's place as a volume: pushed open by water going out, seated by as much come back
                    head, delivered = found, passing
                    slip_left = min(slip_volume, slip_left + delivered * dt)
                    delivering = delivered > 0.0 or slip_left > 0.0
            if not delivering:
                delivered -= back_leak
            # vapour cavity at the pump
            cavitates = cavity > 0.0 or head < vapour_head
            if cavitates:
                head = vapour_head
                if delivering:
                    delivering, delivered, slip_left = False, 0.0, 0.0
            waste_now = waste * math.copysign(math.sqrt(abs(head)), head)
            moved = piston * (push + give * head)
            swept = moved + owed
            inflow = (wave - head) * inverse_impedance
            overfull = 0.0
            if cavitates:
                stored = compliance * (head - head_before) - 0.5 * stored_before * rate
                cavity += (waste_now + delivered + stored - inflow - moved - owed) * dt
                cavity -= air_in * atmospheric_head / (head + atmospheric_head)
                if cavity <= 0.0:
                    # it closed within the step: what came in beyond it stays to be counted
                    overfull, cavity = -cavity * rate, 0.0
                largest_cavity = max(largest_cavity, cavity)
            backward[before, j, above + n] = 2.0 * head - wave
            if air_amount > 0.0:
                air_pressure_head = head + atmospheric_head
                air_volume = air_amount * atmospheric_head / air_pressure_head
            stored_before = compliance * (head - head_before) * dt / 1.5
            mean_head = 0.5 * (head + head_before)
            head_before = head
            tally[1] += waste_now * dt
            if snifted > 0.0 and delivered > 0.0:
                # the air below the delivery valve goes first, so much less water
                carried = min(snifted, delivered * dt * air_pressure_head / atmospheric_head)
                delivered -= carried * atmospheric_head / air_pressure_head * rate
                snifted -= carried
                air_amount -= carried
                air_volume = air_amount * atmospheric_head / air_pressure_head
                tally[16] += carried
            tally[2] += delivered * dt
            tally[11] += head * waste_now * dt
            tally[12] += vessel_head * delivered * dt
            tally[13] += (head - vessel_head) * delivered * dt
            tally[14] += head * (inflow - waste_now - delivered + swept) * dt
            tally[15] -= head * swept * dt
            velocity = inflow / area
            # vessel and line
            if not vessel_held:
                pull = vessel_head - line_lift - _line_loss(line_flow, line_fixed, line_table, line_scale)
                line_flow = max(line_flow + dt * pull / line_inertance, 0.0)
                tally[6] += line_flow * dt
                vessel_air_now -= (delivered - line_flow) * dt
                vessel_air_now = max(vessel_air_now, 1e-3 * vessel_air)
                vessel_head = vessel_abs_start * (vessel_air / vessel_air_now) ** polytropic - atmospheric_head
                vessel_low, vessel_high = min(vessel_low, vessel_head), max(vessel_high, vessel_head)
            if not vessel_held or balanced:
                tally[7] += vessel_head * dt
            # waste valve
            force = load - closing_force * mean_head * relief
            place = opening
            resting_open = opening >= stroke and speed == 0.0 and force >= 0.0
            resting_shut = opening <= rest_opening and speed == 0.0 and force <= 0.0
            if resting_open:
                tally[4] += dt
            elif not resting_shut:
                speed_now = speed * damped + step_over_mass * kept_speed * force
                speed = meeting if meets else speed_now
                opening += dt * speed
                if opening >= stroke:
                    opening = stroke
                    beat_landing_open = max(beat_landing_open, speed)
                    speed = -restitution * speed
                    if speed > -max(_REBOUND, step_over_mass * force):
                        speed = 0.0
                elif opening <= rest_opening:
                    opening = rest_opening
                    landing = -speed
                    landed = min(max((place - rest_opening) * rate / landing, 0.0), 1.0)
                    speed = restitution * landing
                    if speed < max(_REBOUND, -step_over_mass * force):
                        speed = 0.0
                    if been_open:
                        been_open = False
                        tally[0] = time + dt * landed
                        tally[10] = dt * (spent_in(work, n) + spent_in(upper_work, upper) + spent_in(top_work, top))
                        marks[beats] = tally
                        if balanced and beats >= 2:
                            # move towards the head at which the line takes what the last beats gave
                            since = marks[max(beats - _BALANCED_BEATS, 1)]
                            taken = max((tally[2] - since[2]) / (tally[0] - since[0]), 0.0)
                            asked = line_lift + _line_loss(taken, line_fixed, line_table, line_scale)
                            vessel_head += _BALANCE_SHARE * (asked - vessel_head)
                            quiet_highest = 1e9 if delivery_shut else vessel_head + cracking
                        per_beat[beats, 0] = beat_highest_velocity
                        per_beat[beats, 1] = beat_peak
                        per_beat[beats, 2] = beat_lowest
                        per_beat[beats, 3] = landing
                        per_beat[beats, 4] = beat_landing_open
                        per_beat[beats, 5] = max(vessel_high - vessel_low, 0.0)
                        vessel_low, vessel_high = 1e9, -1e9
                        beat_highest_velocity = 0.0
                        beat_peak, beat_lowest, beat_landing_open = -1e9, 1e9, 0.0
                        beats += 1
                        last_event = time
                if not been_open and opening > 0.5 * stroke:
                    been_open = True
                    last_event = time
            # what the valve swept less or more than it was given: it met a stop, or left one
            owed = overfull + (piston if piston > 0.0 else seat_area * relief) * (opening - place) * rate - moved
            if delivered > 0.0:
                tally[5] += dt
            beat_highest_velocity = max(beat_highest_velocity, velocity)
            beat_peak, beat_lowest = max(beat_peak, head), min(beat_lowest, head)
            if rows < trace.shape[0] and step % trace_stride == 0:
                fill_trace(trace, rows, (time, head, velocity, opening, vessel_head, waste_now, delivered))
                rows += 1
            time += dt
            step += 1
            j += 1
            if beats >= most_beats:
                break
            if may_rest and speed == 0.0 and not delivering and (opening >= stroke or opening <= rest_opening):
                at_rest = opening == opening_known
                quiet_square = waste_open * waste_open
                quiet_balance = load / (closing_force * relief)
                quiet_side = 1.0 if opening >= stroke else -1.0
        block += 1
        # beats that are still unsure when no more are allowed count as settled by a looser measure
        enough = tolerance if beats < most_beats else _LAST_CHANCE * tolerance
        if beats > max(least_beats, checked) and window_settled(
            marks, beats - 1, window_width(beats, least_beats), enough, vessel_held
        ):
            settled = True
            if balanced:
                last = beats - 1
                first = last - min(2 * window_width(beats, least_beats), last)
                duration = marks[last, 0] - marks[first, 0]
                taken = max((marks[last, 2] - marks[first, 2]) / duration, 0.0)
                asked = line_lift + _line_loss(taken, line_fixed, line_table, line_scale)
                mean_head = (marks[last, 7] - marks[first, 7]) / duration
                settled = abs(mean_head - asked) <= _BALANCE_TOLERANCE * max(asked, 1.0)
            if settled:
                state = BEATING
                break
        checked = beats
        if beats >= most_beats or time > most_time:
            break
        if been_open and time - last_event > wait_open:
            state = STALLED_OPEN
            break
        if not been_open and time - last_event > wait_shut:
            state = STALLED_SHUT
            break

    result[:] = 0.0
    result[0] = state
    result[1] = 1.0 if settled else 0.0
    result[15], result[17], result[18] = vessel_head, line_flow, largest_cavity
    result[19], result[20], result[21] = time, dt, supply_head
    if state in (STALLED_OPEN, STALLED_SHUT):
        result[5], result[7], result[8] = waste_now, waste_now, velocity
        result[9], result[10] = beat_peak, beat_lowest
        return rows
    last = beats - 1
    width = min(2 * window_width(beats, least_beats), last)
    if width < 1:
        return rows
    tell_means(result, marks, per_beat, last, width, density * gravity, not vessel_held or balanced)
    # never settled, or beats that scatter by more than a tenth: still an honest mean, but said to be irregular
    if not settled or result[4] > 0.1 * result[3]:
        result[0] = IRREGULAR
    return rows
