"""A small survey result made by hand, for tests of whatever writes or shows one. Nothing here is computed by a room."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from pyproj import Transformer

from spreadmap.values.ahead import Ahead, Comparison, NewCases, PlaceAhead, PlantsAhead, Scenario
from spreadmap.values.arrays import empty_text, no_dates
from spreadmap.values.costs import CostRow, CostTable
from spreadmap.values.grid import Grid, Surface
from spreadmap.values.inventory import Inventory, Reservoirs, Screens, Sites, Sources
from spreadmap.values.pest_system import LookAlike, PestSystem, Window
from spreadmap.values.plan import InspectionList, Line, PackingPrice, Plan, RemovalCurve, RemovalList, Ring, Zones
from spreadmap.values.project import Fault, InputFile, ProjectInputs, RejectedRow
from spreadmap.values.results import Exposure, Face, HiddenFirstForm, SurveyResult, SystemResult, Triage
from spreadmap.values.settings import Settings
from spreadmap.values.survey_answer import Basis, HoursShare, RandomSample, SurveyAnswer, SurveyStatement
from spreadmap.values.surveys import PlantState, Surveys, WorkLog
from spreadmap.values.wind import WindClimate
from spreadmap.values.words import Mode, Verdict

CRS = "EPSG:25832"
AS_OF = dt.date(2026, 9, 14)
NEXT_ON = dt.date(2026, 10, 12)
CONFIRMED = (0, 1, 7, 14, 21, 28)
SUSPECT = (8, 15)
REMOVED = (29,)
PLANTS = 30

HOSTILE_TEXTS = (
    "{{7*7}}",
    "{% raw %}",
    "${alert(1)}",
    "</script><script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "`backtick` ``text``",
    "back\\slash \\n \\u0041",
    "cdata ]]> end & more",
    '=HYPERLINK("http://x")',
    "control \x00\x07\x1b and \u202ereversed\u202c bidi\r\n@next",
)
"""Ten kinds of text that must come out as the text they are, wherever they go."""


def made_system(key: str = "rose_rosette", verdict: Verdict = Verdict.REMOVE_WITH_ROOTS) -> PestSystem:
    return PestSystem(
        key=key,
        common_name="Rose rosette" if verdict is Verdict.REMOVE_WITH_ROOTS else "Gall mite of lime",
        scientific_name="Emaravirus rosae" if verdict is Verdict.REMOVE_WITH_ROOTS else "Eriophyes tiliae",
        eppo_code="RRV000",
        pathogen="Emaravirus rosae",
        vector="Phyllocoptes fructiphilus",
        host_genera=("Rosa",),
        symptom_words=("witches' broom",),
        verdict=verdict,
        verdict_reason="There is no cure." if verdict is Verdict.REMOVE_WITH_ROOTS else "The galls do no lasting harm.",
        flight_weight=(0, 0, 0, 0.2, 0.5, 1, 1, 1, 1, 0.5, 0, 0),
        flight_weight_status="assumed",
        flight_weight_source="None: made for tests",
        windows=(
            Window(
                name="look for brooms",
                begins=(5, 1),
                ends=(10, 31),
                advice="Look at every shoot.",
                status="assumed",
                source="None: made for tests",
            ),
        ),
        look_alikes=(LookAlike(name="Herbicide injury", how="whole bed at once"),),
        caution="Confirm by test before digging.",
        sources=("None: made for tests",),
    )


def made_inventory(notes: Sequence[str] = (), owners: Sequence[str] = ()) -> Inventory:
    """Thirty roses, six a row, 4 m apart; two beds on a public site, one on a private one, one synthetic bed."""
    index = np.arange(PLANTS)
    easting = 565_000.0 + 4.0 * (index % 6)
    northing = 5_934_000.0 + 4.0 * (index // 6)
    to_degrees = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    longitude, latitude = to_degrees.transform(easting, northing)
    note = np.array(["", *notes, *[""] * PLANTS][:PLANTS], dtype=object)
    owner = np.array(["city"] * 24 + ["Private owner Q"] * 6, dtype=object)
    owner[: len(owners)] = list(owners)
    return Inventory(
        plant_id=np.array([f"{number:03d}" for number in range(PLANTS)], dtype=object),
        easting=easting,
        northing=northing,
        longitude=longitude,
        latitude=latitude,
        host=np.array(["Rosa 'Äpfelblüte'", "Rosa rugosa"] * 15, dtype=object),
        susceptibility=np.ones(PLANTS),
        size_class=np.array(["S", "M", "L"] * 10, dtype=object),
        bed_id=np.array([f"bed-{number // 12}" for number in range(24)] + ["garden-7"] * 6, dtype=object),
        site_id=np.array(["market"] * 24 + ["yard"] * 6, dtype=object),
        owner=owner,
        planted_on=no_dates(PLANTS),
        source_batch=empty_text(PLANTS),
        position_precision_m=np.where(index < 20, 0.5, np.nan),
        is_synthetic=index >= 18,
        note=note,
    )


def made_inputs(notes: Sequence[str] = (), owners: Sequence[str] = ()) -> ProjectInputs:
    inventory = made_inventory(notes, owners)
    none = empty_text(0)
    return ProjectInputs(
        name="Made town",
        crs=CRS,
        longitude_deg=float(inventory.longitude.mean()),
        latitude_deg=float(inventory.latitude.mean()),
        as_of=AS_OF,
        next_survey_on=NEXT_ON,
        horizon_on=dt.date(2026, 10, 31),
        inventory=inventory,
        surveys=made_surveys(inventory),
        work_log=WorkLog(
            plant_id=none, done_on=no_dates(0), done=[], roots_complete=none, regrowth_on=no_dates(0), note=none
        ),
        pest_systems=(made_system(), made_system("lime_gall", Verdict.NO_ACTION)),
        reservoirs=Reservoirs(
            reservoir_id=np.array(["wild-1"], dtype=object),
            geometry=(shapely.box(565_060, 5_934_000, 565_080, 5_934_010),),
            plant_count=[12.0],
            chance_infected=[0.3],
            host=np.array(["Rosa multiflora"], dtype=object),
            note=empty_text(1),
        ),
        sites=Sites(
            site_id=np.array(["market", "yard"], dtype=object),
            geometry=(
                shapely.box(564_990, 5_933_990, 565_030, 5_934_014),
                shapely.box(564_990, 5_934_014, 565_030, 5_934_030),
            ),
            name=np.array(["Market square", "Yard of a private owner"], dtype=object),
            owner=np.array(["city", "Private owner Q"], dtype=object),
            access=np.array(["", "ring the bell"], dtype=object),
            set_up=np.array(["traffic", "bed"], dtype=object),
            is_private=[False, True],
        ),
        screens=Screens(
            screen_id=np.array(["hedge-1"], dtype=object),
            geometry=(shapely.LineString([(565_030, 5_933_990), (565_030, 5_934_030)]),),
            height_m=[2.0],
            planted_on=no_dates(1),
            factor=[0.5],
        ),
        contact="plant-health@made-town.example",
        faults=(
            Fault(
                file="survey.csv", row=4, column="status", found="'infcted'", allowed="clean, suspect, infected",
                remedy="Correct the cell.", weight="aside",
            ),
        ),
        rejected=(RejectedRow(file="survey.csv", row=4, reason="status 'infcted'", text="004,2026-09-14,infcted"),),
        files=(
            InputFile(role="inventory", path="plants.csv", sha256="a" * 64, rows=PLANTS),
            InputFile(role="surveys", path="survey.csv", sha256="b" * 64, rows=28),
        ),
    )  # fmt: skip


def made_surveys(inventory: Inventory) -> Surveys:
    inspected = np.arange(28)
    status = np.array(["clean"] * 28, dtype=object)
    status[[index for index in CONFIRMED if index < 28]] = "infected"
    status[list(SUSPECT)] = "suspect"
    count = len(inspected)
    return Surveys(
        plant_id=inventory.plant_id[inspected],
        inspected_on=np.full(count, np.datetime64(AS_OF)),
        observer=np.full(count, "observer K", dtype=object),
        method=np.full(count, "visual", dtype=object),
        pest_system=np.full(count, "rose_rosette", dtype=object),
        status=status,
        evidence=np.where(status == "infected", "lab", "visual"),
        symptoms=empty_text(count),
        sample_id=empty_text(count),
        survey_kind=np.full(count, "delimiting", dtype=object),
        note=empty_text(count),
        file=np.full(count, "survey.csv", dtype=object),
        row=inspected + 2,
        is_bed_count=np.zeros(count, dtype=bool),
    )


def made_state(system_key: str = "rose_rosette") -> PlantState:
    """Six confirmed (one without a date on purpose), two suspect, one removed, one never inspected, the rest clean."""
    status = np.full(PLANTS, "clean", dtype=object)
    evidence = np.full(PLANTS, "visual", dtype=object)
    on = np.full(PLANTS, np.datetime64(AS_OF))
    found = no_dates(PLANTS)
    status[list(CONFIRMED)], evidence[list(CONFIRMED)] = "infected", "lab"
    found[list(CONFIRMED)] = np.datetime64("2026-08-03")
    found[14] = np.datetime64("NaT")
    status[list(SUSPECT)] = "suspect"
    status[list(REMOVED)], evidence[list(REMOVED)] = "removed", "work_log"
    status[5], evidence[5], on[5] = "not_inspected", "", np.datetime64("NaT")
    removed = no_dates(PLANTS)
    removed[29] = np.datetime64("2026-08-20")
    standing = np.ones(PLANTS, dtype=bool)
    standing[29] = False
    return PlantState(
        system_key=system_key,
        as_of=np.datetime64(AS_OF),
        status=status,
        evidence=evidence,
        status_on=on,
        first_found_on=found,
        last_inspected_on=on,
        inspections=np.where(status == "not_inspected", 0, 2),
        removed_on=removed,
        roots_complete=np.where(status == "removed", "yes", ""),
        has_regrowth=np.zeros(PLANTS, dtype=bool),
        is_standing=standing,
        is_host=np.ones(PLANTS, dtype=bool),
    )


def made_surface(inputs: ProjectInputs, factor: float = 1.0) -> Surface:
    """A bell round each confirmed plant on 2 m cells; no value in the north-west corner."""
    grid = Grid(west=564_960.0, north=5_934_060.0, cell_m=2.0, n_rows=50, n_cols=60)
    east, north = np.meshgrid(grid.easting, grid.northing)
    values = np.zeros(grid.shape)
    for index in CONFIRMED:
        away = np.hypot(east - inputs.inventory.easting[index], north - inputs.inventory.northing[index])
        values += factor * 20.0 * np.exp(-away / 4.0)
    values[:3, :4] = np.nan
    return Surface(grid=grid, values=values)


def made_removal(reason: str = "") -> RemovalList:
    count = len(CONFIRMED)
    minutes = np.array([20.0, 30.0, 30.0, 45.0, 20.0, 30.0])
    set_up = np.array([60.0, 0.0, 0.0, 0.0, 30.0, 0.0])
    first = np.datetime64("2026-09-17")
    regrowth = np.repeat(first + np.array([[14, 28, 56, 84, 180]]).astype("timedelta64[D]"), count, axis=0)
    return RemovalList(
        plant=np.array(CONFIRMED),
        onward=np.linspace(9.0, 1.5, count),
        person_minutes=minutes,
        set_up_minutes=set_up,
        cumulative_hours=np.cumsum(minutes + set_up) / 60 / 2,
        within_hours=np.array([True] * 4 + [False] * 2),
        earliest_on=np.full(count, first),
        regrowth_on=regrowth,
        rank_low=np.maximum(np.arange(1, count + 1) - 1, 1),
        rank_high=np.minimum(np.arange(1, count + 1) + 1, count),
        rank_holds=np.array([True] * 5 + [False]),
        reason=np.full(count, reason or "Touches three green plants.", dtype=object),
        avoided=np.linspace(0.3, 0.05, count),
        week=np.array([1] * 4 + [2] * 2),
        planned_on=first + np.array([0, 0, 1, 1, 7, 7]).astype("timedelta64[D]"),
        day_order=np.array([1, 2, 1, 2, 1, 2]),
        cost=np.linspace(99.0, 150.0, count),
        is_green=np.zeros(count, dtype=bool),
        decision=np.array(["accept", *[""] * (count - 1)], dtype=object),
        decision_reason=empty_text(count),
        replant_from=np.full(count, np.datetime64("2028-12-01")),
        curve=RemovalCurve(
            hours=np.concatenate([[0.0], np.cumsum(minutes + set_up) / 60 / 2]), plants=np.arange(count + 1),
            share=np.linspace(0, 1, count + 1), low=np.linspace(0, 1, count + 1) ** 2,
            high=np.linspace(0, 1, count + 1) ** 0.5, infections=np.full(count + 1, np.nan),
            infections_low=np.full(count + 1, np.nan), infections_high=np.full(count + 1, np.nan),
        ),
        packing=PackingPrice(packed_hours=1.5, by_value_hours=2.0, packed=0.7, by_value=0.72),
    )  # fmt: skip


def made_inspection(pressure: np.ndarray) -> InspectionList:
    among = np.array([index for index in range(PLANTS) if index not in CONFIRMED + REMOVED])
    order = among[np.argsort(-pressure[among], kind="stable")]
    count = len(order)
    return InspectionList(
        plant=order,
        pressure=pressure[order],
        is_touching=np.arange(count) < 3,
        distance_m=np.where(np.arange(count) == count - 1, np.inf, 4.0),
        interval_days=np.where(np.arange(count) < 10, 7, 14),
        due_on=np.full(count, np.datetime64("2026-09-21")),
        person_minutes=np.full(count, 1.5),
        within_hours=np.arange(count) < 20,
        rank_low=np.maximum(np.arange(count), 1),
        rank_high=np.arange(count) + 2,
        rank_holds=np.arange(count) < 15,
        reason=np.full(count, "Second highest pressure in its bed.", dtype=object),
        worth=100.0 * pressure[order] / max(float(pressure.max()), 1e-9),
        set_up_minutes=np.where(np.arange(count) < 3, 5.0, 0.0),
        is_random=np.isin(np.arange(count), (4, 19)),
        is_overdue=np.arange(count) < 2,
        walk=made_walk(order, count),
    )


def made_walk(order: np.ndarray, count: int) -> np.ndarray:
    """The first twenty of the list, garden and beds one after another as the list first names them."""
    bed = [24 if plant >= 24 else plant // 12 for plant in order[:20].tolist()]
    first = {each: bed.index(each) for each in bed}
    walk = np.zeros(count, dtype=np.int64)
    walk[sorted(range(len(bed)), key=lambda place: (bed[place] == 24, first[bed[place]], place))] = np.arange(
        1, len(bed) + 1
    )
    return walk


def made_survey() -> SurveyAnswer:
    """Twenty-two plants looked at, none drawn; the pest is there on one site of two."""

    def said(site: str, place: str, plants: int, looked_at: int, noticed: int) -> SurveyStatement:
        return SurveyStatement(
            site_id=site, place=place, plants=plants, looked_at=looked_at, drawn=0, counted=looked_at, noticed=noticed,
            basis=Basis.CHOSEN, sensitivity=0.55, design_plants=1,
            confidence=float("nan") if noticed else 0.4, most_showing=min(plants, noticed + 4), size_needed=None,
            passes_needed=3, quick_size_needed=None, quick_passes_needed=4,
            sentence=f"{looked_at} of {plants} plants were looked at.",
        )  # fmt: skip

    return SurveyAnswer(
        first_on=AS_OF,
        last_on=AS_OF,
        statements=(
            said("", "all sites together", 29, 28, 8),
            said("market", "Market square", 24, 24, 8),
            said("yard", "Yard of a private owner", 5, 4, 0),
        ),
        sample=RandomSample(plant=np.array([3, 20]), lot=23, wanted=None, sentence="2 plants of 23 drawn at random."),
        hours=tuple(
            HoursShare(
                share=share, looking_hours=84 * share, removing_hours=84 * (1 - share), looked_at=int(20 * share),
                looked_worth=share, removed=int(6 * (1 - share)), removed_worth=1 - share,
            )
            for share in (0.0, 0.5, 1.0)
        ),
        remarks=("Made for tests.",),
    )  # fmt: skip


def made_costs() -> CostTable:
    """Two sites of two owners; sums by hand."""
    rows = (
        CostRow(
            site="Market square", owner="city", plants=5, person_hours=3.5, labour=157.5, disposal=72.0, replacement=300.0,
            looked_at=16, inspection_hours=0.6, inspection=27.0, tests=2, testing=120.0,
        ),
        CostRow(
            site="Yard of a private owner", owner="Private owner Q", plants=1, person_hours=1.0, labour=45.0, disposal=16.0,
            replacement=60.0, looked_at=4, inspection_hours=0.2, inspection=9.0, tests=0, testing=0.0,
        ),
    )  # fmt: skip
    return CostTable(currency="US$", rows=rows)


def made_zones(inputs: ProjectInputs) -> Zones:
    sick = shapely.MultiPoint([(inputs.inventory.easting[i], inputs.inventory.northing[i]) for i in CONFIRMED])
    rings = tuple(
        Ring(
            focus=1,
            name=name,
            share=share,
            polygon=shapely.buffer(sick, reach),
            area_m2=float(shapely.buffer(sick, reach).area),
            area_low_m2=100.0,
            area_high_m2=9000.0,
            reach_far_m=reach + 10,
            reach_near_m=float(reach),
            plants_inside=inside,
            confirmed_in_focus=len(CONFIRMED),
            host_share=share - 0.05,
            inspect_every_days=every,
            sites_inside=("market", "yard"),
            owners_inside=("city", "Private owner Q"),
            infection_share=share - 0.04,
            low=shapely.buffer(sick, 0.7 * reach),
            high=shapely.buffer(sick, 1.5 * reach),
            reach_by_bearing_m=tuple(float(reach + bearing) for bearing in range(16)),
            parcels_inside=("market", "yard"),
        )
        for name, share, reach, inside, every in (
            ("core", 0.5, 5, 20, 7), ("inner", 0.95, 20, 30, 14), ("outer", 0.99, 40, 30, 30)
        )
    )  # fmt: skip
    line = Line(
        name="wild hosts, 100 m",
        distance_m=100.0,
        polygon=shapely.buffer(sick, 100),
        advice="Clear wild roses inside.",
        source="made for tests",
        reservoirs_inside=("wild-1",),
    )
    return Zones(rings=rings, lines=(line,), release="24 months without a find.", lift_from=dt.date(2028, 9, 14))


def made_system_result(inputs: ProjectInputs, reason: str = "") -> SystemResult:
    system = inputs.pest_systems[0]
    state = made_state(system.key)
    surface = made_surface(inputs)
    pressure = np.zeros(PLANTS)
    for index in range(PLANTS):
        away = np.hypot(
            inputs.inventory.easting[list(CONFIRMED)] - inputs.inventory.easting[index],
            inputs.inventory.northing[list(CONFIRMED)] - inputs.inventory.northing[index],
        )
        pressure[index] = 20.0 * np.exp(-away / 4.0).sum()
    candidate = np.ones(PLANTS, dtype=bool)
    candidate[list(CONFIRMED + REMOVED)] = False
    pressure[~candidate] = 0.0
    ranks = np.zeros(PLANTS, dtype=np.int64)
    ranks[np.argsort(-pressure, kind="stable")] = np.arange(1, PLANTS + 1)
    return SystemResult(
        triage=made_triage(system, infected=len(CONFIRMED), suspect=len(SUSPECT)),
        state=state,
        climate=WindClimate(
            rose=np.array([0.3 + 0.1j, 0.05 + 0j]),
            basis="hourly wind, flight hours of one season",
            hours_used=812,
            calm_share=0.04,
            mean_speed_m_s=2.3,
            sector_share=np.full(16, 0.06),
        ),
        sources=Sources(
            easting=inputs.inventory.easting[list(CONFIRMED)],
            northing=inputs.inventory.northing[list(CONFIRMED)],
            strength=np.ones(len(CONFIRMED)),
            plant=np.array(CONFIRMED),
        ),
        exposure=Exposure(
            pressure=pressure,
            from_plants=pressure * 0.9,
            from_reservoirs=pressure * 0.1,
            scale_factors=np.array([0.5, 2.0, 5.0]),
            scale_rank=np.array([ranks] * 3),
        ),
        hidden=HiddenFirstForm(
            relative_exposure=np.where(candidate, pressure, np.nan),
            is_touching=candidate & (np.arange(PLANTS) == 8),
            distance_to_confirmed_m=np.full(PLANTS, 4.0),
        ),
        surface=surface,
        surface_without_reservoirs=made_surface(inputs, 0.9),
        breaks=(0.02, 0.3, 1.0, 14.0),
        unit_per_m2=1.2e-3,
        ahead=made_ahead(),
        plan=Plan(
            removal=made_removal(reason),
            inspection=made_inspection(pressure),
            backlog_weeks=1.4,
            remarks=("Two plants wait for next week.",),
        ),
        survey=made_survey(),
        costs=made_costs(),
        zones=made_zones(inputs),
        face=Face(
            quantity="Relative infection pressure",
            unit="1 = one confirmed medium plant, still air, 10 m away",
            period_from=AS_OF,
            period_to=NEXT_ON,
            condition="if nothing is done",
            mode=Mode.RELATIVE,
            as_of=AS_OF,
            valid_until=NEXT_ON,
        ),
    )


def made_ahead() -> Ahead:
    """Nothing done and the list, in relative mode."""
    courses = (("nothing", "if nothing is done", 0, 0.0), ("list", "if the list is taken out on its dates", 6, 0.75))
    return Ahead(
        mode=Mode.RELATIVE,
        as_of=AS_OF,
        next_survey_on=NEXT_ON,
        horizon_on=dt.date(2026, 10, 31),
        draws=12,
        members=20,
        seed=7,
        scenarios=tuple(
            Scenario(key=key, says=says, taken_out=out, looks=1, share_avoided=share, share_low=share * 0.8,
                     share_high=share * 1.2)
            for key, says, out, share in courses
        ),
        comparisons=(
            Comparison(better="list", than="nothing", says="Taking the list out leaves 10% to 40% of the new cases.",
                       holds=True, fails=False, ratio_low=0.1, ratio_high=0.4),
        ),
        rates_say="No rate was fitted.",
        onward_range=(0.5, 2.0, 8.0),
    )  # fmt: skip


def made_calibrated_ahead() -> Ahead:
    """The same with chances: of the plants, of one bed, and numbers of new cases."""
    cases = NewCases(expected=11.0, low_50=8.0, high_50=14.0, low_90=4.0, high_90=23.0)
    relative, chance = made_ahead(), np.where(np.arange(PLANTS) < 6, np.nan, np.arange(PLANTS) / 100)
    return replace(
        relative,
        mode=Mode.CALIBRATED,
        scenarios=tuple(
            replace(each, by_next_survey=cases, by_horizon=cases, avoided=cases) for each in relative.scenarios
        ),
        comparisons=tuple(replace(each, avoided=cases) for each in relative.comparisons),
        onward_range=(),
        plants=PlantsAhead(
            infected_by_survey=chance, infected_by_horizon=2 * chance, showing_by_survey=chance / 2,
            showing_by_horizon=chance, first_on=np.full(PLANTS, np.datetime64("2026-10-01")),
        ),
        places=(
            PlaceAhead(kind="bed", name="bed-0 (market)", hosts=12, chance_by_survey=0.5, chance_by_horizon=0.8,
                       by_survey=cases, by_horizon=cases, first_on=dt.date(2026, 10, 1)),
        ),
    )  # fmt: skip


def made_triage(system: PestSystem, infected: int = 0, suspect: int = 0) -> Triage:
    return Triage(
        system=system,
        infected=infected,
        suspect=suspect,
        clean=20 if infected else 0,
        not_inspected=1,
        hosts=PLANTS - 1,
        says=f"{system.common_name}: {infected} confirmed. {system.verdict_reason}",
        season_says="Open now, until 31 October: look for brooms.",
    )


def made_result(notes: Sequence[str] = (), owners: Sequence[str] = (), reason: str = "") -> SurveyResult:
    """A survey with one mapped and one cosmetic pest; `notes` go to the plants from the second on."""
    inputs = made_inputs(notes, owners)
    system = made_system_result(inputs, reason)
    return SurveyResult(
        inputs=inputs,
        settings=Settings(),
        triage=(system.triage, made_triage(inputs.pest_systems[1])),
        systems=(system,),
        remarks=("Wind of one season only.",),
        status_words=system.state.status,
    )


def without_findings(result: SurveyResult) -> SurveyResult:
    """The same place with nothing found: empty lists, no rings, no sources."""
    system = result.systems[0]
    status = np.where(np.isin(system.state.status, ("infected", "suspect")), "clean", system.state.status)
    nothing = np.zeros(0, dtype=np.int64)
    flags = np.zeros(0, dtype=bool)
    empty = replace(
        system,
        triage=made_triage(system.triage.system),
        state=replace(system.state, status=status.astype(object), first_found_on=no_dates(PLANTS)),
        sources=Sources(easting=[], northing=[], strength=[], plant=nothing),
        surface=replace(system.surface, values=np.zeros(system.surface.grid.shape)),
        plan=replace(
            system.plan,
            removal=RemovalList(
                plant=nothing, onward=[], person_minutes=[], set_up_minutes=[], cumulative_hours=[], within_hours=flags,
                earliest_on=no_dates(0), regrowth_on=np.empty((0, 5), dtype="datetime64[D]"), rank_low=nothing,
                rank_high=nothing, rank_holds=flags, reason=empty_text(0), avoided=[], week=nothing,
                planned_on=no_dates(0), day_order=nothing, cost=[], is_green=flags, decision=empty_text(0),
                decision_reason=empty_text(0), replant_from=no_dates(0),
            ),
            inspection=InspectionList(
                plant=nothing, pressure=[], is_touching=flags, distance_m=[], interval_days=nothing,
                due_on=no_dates(0), person_minutes=[], within_hours=flags, rank_low=nothing, rank_high=nothing,
                rank_holds=flags, reason=empty_text(0), worth=[], set_up_minutes=[], is_random=flags,
                is_overdue=flags, walk=nothing,
            ),
        ),
        zones=Zones(rings=(), lines=()),
    )  # fmt: skip
    return replace(result, systems=(empty,), triage=(empty.triage, result.triage[1]), status_words=status)
