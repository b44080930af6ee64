"""The step: plan and trim together, on the model and on the virtual ovens; limits, fall-backs, plain controllers."""

import dataclasses
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kilnctl import Reading, VirtualOven, control, load_oven
from kilnctl.control import StepInput, programme_of, reference
from kilnctl.control.simc import by_tangent, simc_pi
from kilnctl.model.day_zero import day_zero
from kilnctl.terms import HOLD, PROCEED
from tests.control.control_cases import schedule_of

OURS = control.EnergyBalanceControl()

# ---- the step --------------------------------------------------------------------------------------------------------


def drive(
    oven, schedule, model=None, seconds=4000, plant=None, seed=3, door=(), on=None, requests=None, kind=None, dt=1.0
):
    """A row a tick of `dt` s, until `seconds` are over."""
    load = schedule.load or oven.usual_load
    plant = plant or VirtualOven(oven, load=load, seed=seed)
    controller: Any = OURS if kind is None else control.Plain(kind)
    programme = programme_of(oven, schedule, model or day_zero(oven, load, schedule.top_c))
    reading = plant.advance(dt, 0.0, True)
    state, rows, duty = controller.start(programme, reading), [], 0.0
    for i in range(int(seconds / dt)):
        asked = (requests or {}).get(i, ())
        state, d = controller.step(programme, state, StepInput(reading, dt, duty, asked))
        if on:
            reading = on(i, plant, reading)
        plant.door_opening = 1.0 if any(a <= i < b for a, b in door) else 0.0
        duty = 0.0 if plant.door_opening else d.duty
        reading = plant.advance(dt, duty, True)
        rows.append((plant.chamber_c, d.reference_c, d.demand_w, d.duty, plant.part_c, d.part_c))
        if d.done:
            break
    return np.array(rows, dtype=float)


SOAK = schedule_of(dict(to_c=200.0, hold_s=3600.0))


def test_step_is_pure(oven):
    cabinet = oven("curing-cabinet")
    programme = programme_of(cabinet, SOAK, day_zero(cabinet, cabinet.usual_load, 200.0))
    state = OURS.start(programme, Reading(20.0))
    for i in range(30):
        given = StepInput(Reading(20.0 + i, fired=1.0), 1.0)
        a, b = OURS.step(programme, state, given), OURS.step(programme, state, given)
        assert a[1] == b[1] or all(
            x == y or x != x for x, y in zip(dataclasses.astuple(a[1]), dataclasses.astuple(b[1]), strict=True)
        )
        state = a[0]


def test_demand_is_feedforward_and_trim_within_the_power(oven):
    cabinet = oven("curing-cabinet")
    programme = programme_of(cabinet, SOAK, day_zero(cabinet, cabinet.usual_load, 200.0))
    plant = VirtualOven(cabinet, load=cabinet.usual_load)
    reading = plant.advance(1.0, 0.0, True)
    state = OURS.start(programme, reading)
    for _ in range(1500):
        state, d = OURS.step(programme, state, StepInput(reading, 1.0))
        assert 0.0 <= d.demand_w <= d.full_w + 1e-9 and d.reason
        if 0.0 < d.demand_w < d.full_w:
            assert d.demand_w == pytest.approx(d.feedforward_w + d.trim_w, abs=1e-6)
        reading = plant.advance(1.0, d.duty, True)


@pytest.mark.slow
@pytest.mark.parametrize(
    "change",
    [
        dict(power_w=0.7),
        dict(power_w=1.3),
        dict(lining_j_per_k=0.7),
        dict(lining_j_per_k=1.3),
        dict(film_m2=0.7),
        dict(contents_j_per_k=1.3),
        dict(element_j_per_k=1.3),
        dict(element_m2=0.7),
        dict(dead_s=2.0),
    ],
)
def test_a_model_thirty_per_cent_wrong_is_stable_and_overshoots_little(oven, change):
    cabinet = oven("curing-cabinet")
    m = day_zero(cabinet, cabinet.usual_load, 200.0)
    for name, factor in change.items():
        value = getattr(m, name)
        m = m.but(**{name: tuple(v * factor for v in value) if isinstance(value, tuple) else value * factor})
    # The slowest tick that the rules accept: half the computing, and harder for the control.
    rows = drive(cabinet, SOAK, m, 2700, dt=2.0)
    assert np.max(rows[:, 0]) < 202.5
    end = rows[-450:, 0]
    assert np.max(np.abs(end - 200.0)) < 0.4, "settled, no limit cycle"


def test_door_opened_for_half_a_minute_leaves_no_overshoot(oven):
    rows = drive(oven("curing-cabinet"), SOAK, seconds=3000, door=((1800, 1830),))
    assert np.min(rows[1800:1900, 0]) < 190.0, "the door is felt"
    assert np.max(rows[1831:, 0]) < 201.5
    assert abs(rows[-1, 0] - 200.0) < 0.6


def test_supply_sag_is_hardly_seen(oven):
    def sag(i, plant, reading):
        plant.supply_share = 0.94 if i > 1800 else 1.0
        return reading

    rows = drive(oven("curing-cabinet"), SOAK, seconds=3000, on=sag)
    assert np.max(np.abs(rows[1800:, 0] - 200.0)) < 0.6


def test_hold_and_go_on_without_a_jump_in_power(oven):
    ramp = schedule_of(dict(to_c=180.0, at_k_per_s=0.03), dict(hold_s=600.0))
    rows = drive(oven("curing-cabinet"), ramp, seconds=2000, requests={1200: (HOLD,), 1500: (PROCEED,)})
    assert np.ptp(rows[1205:1500, 1]) == 0.0
    smooth = np.convolve(rows[:, 2], np.ones(10) / 10.0, "valid")
    assert np.max(np.abs(np.diff(smooth[1100:1600]))) < 150.0


def test_part_target_brings_the_part_there_with_the_chamber_inside_its_limit(oven, schedule):
    rows = drive(oven("curing-cabinet"), schedule("part-cure"), seconds=5000)
    assert np.max(rows[:, 0]) < 236.0
    assert np.max(rows[:, 4]) < 193.0, "the part itself"
    assert np.max(np.abs(rows[-600:, 4] - 190.0)) < 2.0


@pytest.mark.slow
def test_a_model_that_is_nonsense_is_given_up_for_a_plain_pi(oven):
    cabinet = oven("curing-cabinet")
    m = day_zero(cabinet, cabinet.usual_load, 200.0)
    wrong = m.but(power_w=m.power_w, leak_w_per_k=m.leak_w_per_k + 25.0)
    programme = programme_of(cabinet, schedule_of(dict(to_c=110.0, hold_s=6 * 3600.0)), wrong)
    plant = VirtualOven(cabinet, load=cabinet.usual_load)
    reading, reasons = plant.advance(1.0, 0.0, True), set()
    state = OURS.start(programme, reading)
    for _ in range(4000):
        state, d = OURS.step(programme, state, StepInput(reading, 1.0))
        reasons.add(d.reason[:9])
        reading = plant.advance(1.0, d.duty, True)
    assert "plain PI:" in reasons and abs(plant.chamber_c - 110.0) < 3.0


def test_simc_rule_against_skogestad():
    """SIMC: for an integrating process k'·e^(−θs)/s with τc = θ, Kc = 1/(2 k' θ) and τI = 8 θ (Skogestad 2003, table
    1)."""
    kiln = load_oven(Path(__file__).parents[2] / "configs" / "ovens" / "brick-kiln.yaml")
    t = simc_pi(day_zero(kiln, None, 800.0), 800.0, 20.0)
    assert t.gain_w_per_k == pytest.approx(1.0 / (2.0 * t.slope_k_per_s * t.dead_s), rel=1e-9)
    assert t.integral_s == pytest.approx(min(t.lag_s, 8.0 * t.dead_s), rel=1e-9)


@pytest.mark.parametrize(
    ("kind", "swing", "overshoot"), [("thermostat", 8.0, 3.0), ("pi", 0.0, 0.0), ("pid", 0.0, 0.0)]
)
def test_plain_controllers_hold_the_soak_in_their_way(oven, kind, swing, overshoot):
    rows = drive(oven("curing-cabinet"), SOAK, seconds=3300, kind=kind)
    end = rows[-1200:, 0]
    assert np.ptp(end) >= swing and abs(end.mean() - 200.0) < 3.0 and np.max(rows[:, 0]) - 200.0 >= overshoot


def test_time_added_before_a_soak_is_added_to_that_soak_alone(schedule):
    legs = reference.legs_of(schedule("powder-cure"))
    p = reference.begin(legs, 20.0)._replace(added_s=120.0)
    plain = reference.seconds_left(legs, reference.begin(legs, 20.0))
    assert reference.seconds_left(legs, p) == plain + 120.0
    hold = next(i for i, leg in enumerate(legs) if leg.kind == "hold")
    seconds = 0.0
    while p.leg <= hold and not p.done:
        p = reference.advance(legs, p, legs[hold].target_c, 10.0)
        seconds += 10.0 if p.leg == hold else 0.0
    assert seconds == pytest.approx(legs[hold].hold_s + 120.0, abs=10.0) and p.added_s == 0.0


# ---- limits and fall-backs -------------------------------------------------------------------------------------------


def test_at_full_power_only_a_plan_turns_it_down(oven):
    """Unexplained heat found during the heat-up once took a few watts off full power between plans, and delayed the
    arrival by seconds."""
    cabinet = oven("curing-cabinet")
    m = day_zero(cabinet, cabinet.usual_load, 200.0)
    rows = drive(cabinet, SOAK, m.but(power_w=0.93 * m.power_w), seconds=1100)
    assert np.all(rows[20 : int(np.argmax(rows[:, 0] > 185.0)), 3] == 1.0)


@pytest.mark.slow
def test_the_fall_back_holds_an_oven_three_times_as_quick_as_its_model(oven):
    """Power 30 % too low and lining 30 % too high in a model whose first response is half the oven's: the model is
    given up, and the oven is held without a limit cycle."""
    cabinet = oven("curing-cabinet")
    m = day_zero(cabinet, cabinet.usual_load, 200.0)
    wrong = m.but(lining_j_per_k=tuple(1.3 * v for v in m.lining_j_per_k), power_w=0.7 * m.power_w)
    rows = drive(cabinet, SOAK, wrong, seconds=4500, dt=2.0)
    assert np.max(rows[:, 0]) < 202.5 and np.max(np.abs(rows[-450:, 0] - 200.0)) < 0.5


def test_tuning_by_tangent_against_a_first_order_process_with_delay():
    """k e^(−θs)/(τs + 1): its reaction curve's tangent gives back slope k/τ and delay θ (J. G. Ziegler and N. B.
    Nichols, Trans. ASME 64 (1942) 759), and the rule Kc = τ/(k(τc + θ)), τI = min(τ, 4(τc + θ)) (Skogestad 2003,
    equations 23 and 24)."""
    k, tau, theta, step_w, dt = 0.2, 400.0, 12.0, 50.0, 0.5
    times = dt * np.arange(1, 4001)
    rise = k * step_w * (1.0 - np.exp(-np.maximum(0.0, times - theta) / tau))
    for slower in (1.0, 3.0):
        t = by_tangent(rise.tolist(), dt, step_w, k, theta, 0.0, False, slower)
        assert t.slope_k_per_s == pytest.approx(k / tau, rel=2e-3) and t.dead_s == pytest.approx(theta, abs=0.3)
        assert t.gain_w_per_k == pytest.approx(tau / (k * (slower + 1.0) * theta), rel=0.03)
        assert t.integral_s == pytest.approx(min(tau, 4.0 * (slower + 1.0) * theta), rel=0.03)


@pytest.mark.parametrize(("first", "second", "within"), [(300.0, 500.0, 1.0), (300.0, 500.0, 5.0), (500.0, 420.0, 1.0)])
def test_a_soak_is_not_left_for_the_jump_that_follows_it(oven, first, second, within):
    """Heating early for a jump once took the chamber out of the soak's band, where the soak's timer stops: the jump
    never came."""
    muffle = oven("bench-muffle")
    steps = schedule_of(
        dict(to_c=first, hold_s=600.0, within_k=within), dict(to_c=second, hold_s=300.0, within_k=within)
    )
    rows = drive(muffle, steps, seconds=3600)
    assert len(rows) < 3000, "it comes to its end"
    turn = int(np.argmax(rows[:, 1] == second))
    assert np.max(np.abs(rows[turn - 300 : turn, 0] - first)) < 1.2
    assert np.max(np.abs(rows[-200:, 0] - second)) < 1.2


def test_a_soak_that_waits_for_its_band_looks_at_nothing_else():
    legs = reference.legs_of(schedule_of(dict(to_c=100.0, hold_s=60.0), dict(to_c=200.0, at_k_per_s=0.5)))
    p = reference.begin(legs, 100.0)._replace(leg=1, counted_s=50.0)
    assert reference.preview(legs, p, 100.0) == ([0.0, 10.0, 210.0], [100.0, 100.0, 200.0])
    assert reference.preview(legs, p._replace(waiting=True), 100.0) == ([0.0], [100.0])


@pytest.mark.parametrize("within", (3.0, 1.0))
def test_a_soak_keeps_its_power_until_its_time_is_up(within):
    """Full power raises this chamber by 45 K in a second: heat for the next step within the soak's last tick would
    leave the band, stop the soak's timer, and that again and again."""
    quick = load_oven(Path(__file__).parents[1] / "generated" / "kept" / "quick-muffle.yaml")
    steps = schedule_of(dict(to_c=300.0, hold_s=300.0, within_k=within), dict(to_c=400.0, hold_s=60.0, within_k=5.0))
    rows = drive(quick, steps, seconds=1200)
    arrived, jump = (int(np.argmax(rows[:, 1] == at_c)) for at_c in (300.0, 400.0))
    soak = rows[arrived + 60 : jump]
    assert np.max(np.abs(soak[:, 0] - 300.0)) < 2.0 and np.max(soak[:, 3]) < 0.9
    assert rows[jump, 3] > 0.9, "and the heat comes at once then"
