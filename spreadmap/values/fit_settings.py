"""Defaults of the fit to the survey history: what is believed beforehand, how long to draw, when to believe it."""

from __future__ import annotations

from dataclasses import dataclass

from spreadmap.values.setting import OWN, setting

TRIED = "None: our choice; tried on made outbreaks of known rate and scale"


@dataclass(frozen=True, slots=True, kw_only=True)
class FitSettings:
    """Fit of rates, lengths and direction to the survey history.

    Logarithms of positive quantities have normal priors: a median and a standard deviation of the logarithm.
    """

    rate_median_m2_per_day: float = setting(5.0, "m2 per day of full flight", "assumed", TRIED, least=1e-6, most=1e6)
    rate_sd_log: float = setting(1.5, "- (log)", "assumed", TRIED, least=0.01, most=5)
    scale_factor_median: float = setting(
        1.0, "multiples of the lengths in settings.kernel", "assumed", TRIED, least=0.01, most=100
    )
    scale_sd_log: float = setting(1.0, "- (log)", "assumed", TRIED, least=0.01, most=5)
    fit_shape: bool = setting(
        False, "yes or no", "assumed", "None: our choice; the shape of the kernel is rarely learnt from two or three surveys", least=0, most=1)  # fmt: skip
    shape_sd_log: float = setting(0.5, "- (log)", "assumed", OWN, least=0.01, most=2)
    wind_sd: float = setting(
        1.5, "- (each component of the concentration vector, centred on none)", "assumed", TRIED, least=0.01, most=10
    )
    background_median_per_day: float = setting(
        1e-5, "infections per medium plant and day of full flight", "assumed", TRIED, least=1e-12, most=1
    )
    background_sd_log: float = setting(2.0, "- (log)", "assumed", TRIED, least=0.01, most=5)
    contact_sd_log: float = setting(
        1.0, "- (log), about infection.contact_per_season", "assumed", OWN, least=0.01, most=5
    )
    introductions_mean: float = setting(
        20.0, "plants infected on the day it began; geometric", "assumed", TRIED, least=0.1, most=10_000
    )
    start_days: int = setting(
        365, "days before the first survey in which it may have begun, each day of flight alike", "assumed", OWN, least=1, most=3650)  # fmt: skip
    incubation: str = setting(
        "random", "-", "assumed", "None: our choice; fixed at its median is the fast mode: rates and lengths came out alike, but not how many are hidden", choices=("random", "fixed"))  # fmt: skip
    earliest_share: float = setting(
        0.01, "share of plants", "assumed", "None: our choice; no plant is taken to show sooner than this share would, and later infections than that before the last survey are left to the forecast", least=0, most=0.2)  # fmt: skip
    candidates_least: int = setting(
        4000, "plants", "assumed", "None: our choice; never-noticed plants nearest to a case that may be hidden infections", least=1, most=50_000)  # fmt: skip
    candidates_per_case: float = setting(3.0, "plants per noticed plant", "assumed", TRIED, least=1, most=100)
    chains: int = setting(3, "chains", "assumed", OWN, least=2, most=16)
    seed: int = setting(20_270_101, "-", "assumed", OWN, least=0, most=2**31)
    warm_up: int = setting(1500, "iterations", "assumed", OWN, least=100, most=1_000_000)
    batch: int = setting(1000, "iterations between two looks at the chains", "assumed", OWN, least=100, most=100_000)
    most_iterations: int = setting(
        12_000, "iterations of one chain, warm-up apart", "assumed", OWN, least=100, most=10**7
    )
    effective_size: float = setting(
        200.0, "draws", "assumed", "None: our choice; of rate and scale, over all chains", least=10, most=100_000
    )
    least_effective_size: float = setting(100.0, "draws", "assumed", OWN, least=10, most=100_000)
    most_r_hat: float = setting(
        1.05, "-", "assumed", "None: our choice; of rank-normalised split chains, Vehtari et al. 2021, doi 10.1214/20-BA1221", least=1.001, most=2)  # fmt: skip
    fewest_new_cases: int = setting(
        20, "plants first noticed after the first survey", "assumed", OWN, least=0, most=10**6
    )
    wind_region: float = setting(
        0.95, "share of the draws in the joint region of the two components", "assumed", OWN, least=0.5, most=0.999
    )
    survey_gap_days: int = setting(10, "days without a look that part two surveys", "assumed", OWN, least=1, most=365)
    replicates: int = setting(100, "made histories of the predictive check", "assumed", OWN, least=20, most=10_000)
    least_p: float = setting(
        0.01, "share of made histories at least as far off", "assumed", "None: our choice; below it the fit is refused", least=0, most=0.5)  # fmt: skip
    kept_draws: int = setting(400, "draws kept in the history", "assumed", OWN, least=20, most=100_000)
    tell_above_seconds: float = setting(
        120.0, "s of one core, estimated beforehand", "assumed", "None: our choice; longer fits say so and offer the fast mode", least=0, most=10**7)  # fmt: skip
