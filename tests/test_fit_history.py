"""From tables to the sampler's history, and the fit as a product: verdicts, refusals, draws, kept and read back."""

import datetime as dt
import math
from dataclasses import replace

import numpy as np
import pytest
from fit_worlds import Truth, field_of, spread_out
from small_records import inventory_at, surveys_of, system_of, texts, work_of
from small_worlds import WALD, rose_toward, sources_at, spread_of

from spreadmap.engine import Engine
from spreadmap.errors import InventoryError
from spreadmap.io.fit_file import pack_fit, unpack_fit
from spreadmap.io.history import fits_on_record, open_history
from spreadmap.outbreak.fit import fit_survey_history, time_told
from spreadmap.outbreak.fit_history import survey_history
from spreadmap.outbreak.fit_use import mean_law, mean_rates, newest_fit, posterior_draws, records_hash
from spreadmap.outbreak.fit_world import prepare
from spreadmap.review.fit_picture import fit_png
from spreadmap.values.settings import Settings

AS_OF = np.datetime64("2026-09-01")
ONE = Engine(workers=1)
NO_WILD = sources_at()
SYSTEM = system_of(flight=(1,) * 12)


def settings_with(**fit):
    base = Settings()
    short = {
        "chains": 2,
        "warm_up": 200,
        "batch": 200,
        "most_iterations": 200,
        "replicates": 20,
        "kept_draws": 20,
        "start_days": 120,
    }
    return replace(
        base, fit=replace(base.fit, **(short | fit)),
        infection=replace(base.infection, latency_median_days=10.0, latency_sigma=0.5, growing_from=(1, 1), growing_to=(12, 31)),
        detection=replace(base.detection, by_observer={"A": 0.8}),
    )  # fmt: skip


def tables_of(seed=3, plants=150):
    """Return inventory, surveys and work log of a made outbreak: looks on three days, found plants out 6 days later."""
    rng = np.random.default_rng(seed)
    places = field_of(plants, 400, rng)
    truth = Truth(rate=9.0, scale=8.0, background=1e-4, infectious_after=14.0, incubation=10.0, sigma=0.5)
    days = (50.0, 75.0, 100.0)
    outbreak = spread_out(places, truth, [0, 5, 9], 0.0, 100.0, [(day, 0.7) for day in days], rng, removal_after=6.0)
    zero = np.datetime64("2026-05-01")
    day_of = lambda day: str(zero + np.timedelta64(int(day), "D"))  # noqa: E731
    rows = [
        (f"p{plant}", day_of(day), "infected" if hit else "clean", "typical_symptoms" if hit else "visual")
        for plant, day, _, hit in outbreak.looks
    ]
    work = [(f"p{i}", day_of(outbreak.removed[i]), "yes", "NaT") for i in np.flatnonzero(np.isfinite(outbreak.removed))]
    return inventory_at(*places), surveys_of(*rows), work_of(*work), outbreak


@pytest.fixture(scope="module")
def made():
    return tables_of()


@pytest.fixture(scope="module")
def fitted(made):
    inventory, surveys, work, _ = made
    said = []
    fit = fit_survey_history(
        inventory, surveys, work, NO_WILD, spread_of(), SYSTEM, settings_with(), AS_OF, ONE, said.append
    )
    return fit, said


def test_a_history_holds_what_was_seen(made):
    inventory, surveys, work, outbreak = made
    history = survey_history(inventory, surveys, work, NO_WILD, spread_of(), SYSTEM, settings_with(), AS_OF)
    problem = history.problem
    np.testing.assert_array_equal(problem.noticed, np.isfinite(outbreak.found))
    assert history.new_cases == int(np.sum(np.isfinite(outbreak.found) & (outbreak.found > 50)))
    # noon of the day of the look and of the removal, counted from 120 days before the first survey
    found = np.flatnonzero(problem.noticed)
    out = found[outbreak.found[found] < 100]  # those of the last day still stand when the records end
    np.testing.assert_allclose(problem.removed_day[out], outbreak.found[out] + 6 + 120 - 50 + 0.5)
    assert np.isinf(problem.removed_day[np.setdiff1d(found, out)]).all()
    last = dict(zip(problem.look_plant, problem.look_day, strict=True))
    for plant in found:
        assert last[plant] == outbreak.found[plant] + 120 - 50 + 0.5
    assert problem.latest_day == 120.5
    # 1 % of plants show by 10 exp(-2.326 * 0.5) = 3.125 days: later infections than that before the last look are left out
    assert problem.end_day == pytest.approx(170.5 - 10 * math.exp(-2.3263478740 * 0.5), abs=1e-6)


def test_chances_of_looks_are_those_of_method_and_observer(made):
    inventory, surveys, work, _ = made
    observer, method = surveys.observer.copy(), surveys.method.copy()
    clean = np.flatnonzero(surveys.status == "clean")[:3]  # all of the first survey
    observer[clean[0]], method[clean[1]] = "A", "test"
    history = survey_history(
        inventory,
        replace(surveys, observer=observer, method=method),
        work,
        NO_WILD,
        spread_of(),
        SYSTEM,
        settings_with(),
        AS_OF,
    )
    problem = history.problem
    look = {
        (plant, day): (a, b)
        for plant, day, a, b in zip(
            problem.look_plant, problem.look_day, problem.pass_showing, problem.pass_silent, strict=True
        )
    }
    ids = [int(key[1:]) for key in surveys.plant_id[clean]]
    assert look[ids[0], 120.5] == pytest.approx((0.2, 1.0))  # by observer A, who sees 0.8
    assert look[ids[1], 120.5] == pytest.approx((0.05, 0.4))  # by a test: 0.95 and 0.6
    assert look[ids[2], 120.5] == pytest.approx((0.45, 1.0))  # by eye: 0.55


def test_later_surveys_are_passed_over(made):
    inventory, surveys, work, _ = made
    early = np.datetime64("2026-07-20")
    history = survey_history(inventory, surveys, work, NO_WILD, spread_of(), SYSTEM, settings_with(), early)
    assert history.last_look == np.datetime64("2026-07-15")
    assert history.problem.look_day.max() == 120.5 + 25


def test_a_fit_says_what_it_is(fitted):
    fit, said = fitted
    assert len(fit.draws) == len(fit.states) == 8  # two chains of 200 iterations, with a state after every 50
    assert fit.mode == "random"
    assert any("without background" in line for line in said)
    assert {one.name for one in fit.without_background} == {"rate", "length factor"}
    assert any("From outside came an expected" in line for line in fit.says)
    assert len(fit.checks) == 6
    names = [one.name for one in fit.estimates]
    assert names == [
        "rate",
        "length factor",
        "wind toward east",
        "wind toward north",
        "background",
        "contact",
        "shape factor",
    ]
    assert fit.estimate("shape factor").is_fixed
    _, middle, high = fit.estimate("rate").prior
    assert middle == pytest.approx(5.0)
    assert high / middle == pytest.approx(math.exp(1.959964 * 1.5))  # worked by hand from the prior
    assert fit.draws.infected.min() >= fit.noticed


def test_too_short_chains_and_too_few_cases_are_refused(fitted):
    fit, _ = fitted
    assert not fit.accepted
    assert any(line.startswith("Not converged") for line in fit.says)
    inventory, surveys, work, _ = tables_of(seed=8, plants=40)
    small = fit_survey_history(
        inventory, surveys, work, NO_WILD, spread_of(), SYSTEM, settings_with(fewest_new_cases=200), AS_OF, ONE
    )
    assert any(line.startswith("Too few new cases") for line in small.says)


def test_same_tables_same_bytes(made, fitted):
    inventory, surveys, work, _ = made
    again = fit_survey_history(
        inventory, surveys, work, NO_WILD, spread_of(), SYSTEM, settings_with(), AS_OF, Engine(workers=2)
    )
    assert pack_fit(again) == pack_fit(fitted[0])
    assert fit_png(again, "Town") == fit_png(fitted[0], "Town")


def test_draws_are_laws_and_rates(fitted):
    fit, _ = fitted
    spread = spread_of(kernel=WALD, rose=rose_toward(90.0))
    without = posterior_draws(replace(fit, finds_wind=False), spread)
    law, rates = without[3]
    assert law.kernel.scale_m == pytest.approx(WALD.scale_m * fit.draws.scale_factor[3])
    assert law.kernel.shape == pytest.approx(WALD.shape * fit.draws.scale_factor[3])
    assert law.climate is spread.climate
    assert rates.per_day_m2 == fit.draws.rate_per_day_m2[3]
    draws = replace(fit.draws, wind_east=np.zeros(8), wind_north=np.full(8, 1.0))
    law, _ = posterior_draws(replace(fit, finds_wind=True, draws=draws), spread)[3]
    # down- over upwind of a von Mises density of concentration one is e^2; the near radius of 1 m bends nothing at 30 m
    up, down = law.density(
        np.array([0.0, 0.0]), np.array([-30.0, 30.0]), law.coefficients_at(np.zeros(1), np.zeros(1))[0]
    )
    assert down / up == pytest.approx(math.e**2, rel=1e-3)
    assert len(posterior_draws(fit, spread, most=7)) == 7
    assert mean_rates(fit).per_day_m2 == pytest.approx(float(np.exp(np.log(fit.draws.rate_per_day_m2).mean())))
    assert mean_law(fit, spread).kernel.scale_m == pytest.approx(
        WALD.scale_m * float(np.exp(np.log(fit.draws.scale_factor).mean()))
    )


def test_a_fit_is_kept_and_read_back(fitted, tmp_path):
    fit = replace(fitted[0], accepted=True)
    with open_history(tmp_path) as history:
        history.add_fit(fit, "2026-09-02T10:00:00+00:00", "0.1.0")
    with open_history(tmp_path) as history:
        kept, remarks = fits_on_record(history)
    assert remarks == ()
    (read,) = kept["rose_rosette"]
    assert pack_fit(read) == pack_fit(fit)
    np.testing.assert_array_equal(read.draws.rate_per_day_m2, fit.draws.rate_per_day_m2)
    np.testing.assert_array_equal(read.states.infected_on, fit.states.infected_on)


def test_states_are_those_of_the_draws_and_shares_those_of_all_iterations(made, fitted):
    outbreak = made[3]
    fit, _ = fitted
    states = fit.states
    # every draw's state has as many infected plants as the draw says, and none after the end of the fit
    np.testing.assert_array_equal(np.diff(states.first), fit.draws.infected)
    assert states.infected_on.max() <= np.datetime64(fit.ends_on)
    known = [f"p{i}" for i in np.flatnonzero(np.isfinite(outbreak.found))]
    for first, last in zip(states.first[:-1], states.first[1:], strict=True):
        assert set(known) <= set(states.plant_id[states.plant[first:last]])
    # shares are of plants never noticed, and sum to the mean number of hidden infections
    assert not set(known) & set(states.plant_id[states.share_plant])
    mean = fit.draws.infected.mean() - len(known)
    assert states.share.sum() == pytest.approx(mean, abs=4 * fit.draws.infected.std())
    assert len(states.plant_id) == fit.tracked


def test_only_a_fit_that_still_stands_is_used(made, fitted):
    inventory, surveys, work, _ = made
    settings = settings_with()
    fit = replace(fitted[0], accepted=True)
    args = (inventory, surveys, work, SYSTEM)
    day = dt.date(2026, 9, 10)
    assert newest_fit([fit], *args, settings, day)[0] is fit
    assert newest_fit([fit, replace(fit, accepted=False)], *args, settings, day)[0] is fit
    # a fit to surveys after the date of the run is never used
    assert newest_fit([fit], *args, settings, dt.date(2026, 8, 1))[0] is None
    found, says = newest_fit([fit], *args, settings_with(rate_sd_log=1.0), day)
    assert found is None
    assert "settings it rests on have changed" in says[0]
    status = surveys.status.copy()
    status[np.flatnonzero(status == "clean")[0]] = "infected"
    # nor one that does not know all inspections up to the date of the run
    early = dt.date(2026, 7, 20)
    old = replace(fit, as_of=early, inputs=records_hash(inventory, surveys, work, SYSTEM, early))
    later = int(np.sum(surveys.inspected_on > np.datetime64(early)))
    found, says = newest_fit([old], *args, settings, day)
    assert found is None
    assert f"does not know {later} inspections since, up to 2026-09-10" in says[0]
    assert newest_fit([old], *args, settings, dt.date(2026, 7, 25))[0] is old
    flight = replace(SYSTEM, flight_weight=(0.5,) * 12)
    found, says = newest_fit([fit], inventory, surveys, work, flight, settings, day)
    assert "records of its time have changed" in says[0]
    found, says = newest_fit([fit], inventory, replace(surveys, status=status), work, SYSTEM, settings, day)
    assert found is None
    assert "records of its time have changed" in says[0]


def test_a_damaged_fit_is_told():
    with pytest.raises(Exception, match="no fit as the history keeps one"):
        unpack_fit(b"nothing")


def test_a_large_fit_says_its_time_and_what_is_faster(made):
    inventory, surveys, work, _ = made
    history = survey_history(inventory, surveys, work, NO_WILD, spread_of(), SYSTEM, settings_with(), AS_OF)
    ready = prepare(history.problem, ONE)
    assert "minutes" not in time_told(ready, settings_with(tell_above_seconds=1e9).fit)
    told = time_told(ready, settings_with(tell_above_seconds=0).fit)
    assert 'settings.fit.incubation = "fixed"' in told


PLACES = [(0.0, 0.0), (5.0, 0.0), (9.0, 4.0)]


def history_of(*rows, work=(), **inventory):
    return survey_history(
        replace(inventory_at(*PLACES), **inventory), surveys_of(*rows), work_of(*work), NO_WILD, spread_of(), SYSTEM,
        settings_with(), AS_OF,
    )  # fmt: skip


def test_a_finding_after_the_removal_is_refused():
    rows = [
        ("p1", "2026-06-01", "clean", "visual"),
        ("p0", "2026-06-01", "infected", "lab"),
        ("p1", "2026-07-20", "infected", "lab"),
    ]
    with pytest.raises(
        InventoryError,
        match=r"surveys.csv, row 2.*p1: infected, found first on 2026-07-20, after its removal on 2026-07-01.*key of its own",
    ):
        history_of(*rows, work=[("p1", "2026-07-01", "yes", "NaT")])


def test_a_finding_before_the_planting_is_refused():
    planted = np.array(["NaT", "2026-07-01", "NaT"], dtype="datetime64[D]")
    with pytest.raises(
        InventoryError, match=r"row 0.*infected on 2026-06-01, before it was planted on 2026-07-01.*planted_on"
    ):
        history_of(("p1", "2026-06-01", "infected", "lab"), ("p0", "2026-06-01", "clean", "visual"), planted_on=planted)


def test_a_survey_of_nobody_is_refused():
    with pytest.raises(InventoryError, match="nobody inspected a plant"):
        history_of()
    with pytest.raises(InventoryError, match="no plant was ever confirmed"):
        history_of(("p0", "2026-06-01", "clean", "visual"))


def test_all_infected_at_the_start_is_refused():
    rows = [(f"p{i}", "2026-06-01", "infected", "lab") for i in range(3)]
    with pytest.raises(InventoryError, match="all 3 inspected plants were infected on the first day.*found nothing"):
        history_of(*rows)


def test_partly_removed_roots_send_on(made):
    rows = [
        ("p0", "2026-06-01", "infected", "lab"),
        ("p1", "2026-06-01", "clean", "visual"),
        ("p2", "2026-06-01", "clean", "visual"),
    ]
    problem = history_of(*rows, work=[("p0", "2026-06-05", "partly", "NaT")]).problem
    assert problem.rest[0] == 0.3
    assert problem.gone_day[0] == math.inf
    whole = history_of(*rows, work=[("p0", "2026-06-05", "yes", "NaT")]).problem
    assert whole.rest[0] == 0
    assert whole.removed_day[0] == 120 + 4 + 0.5
    assert texts("", 1)[0] == ""
