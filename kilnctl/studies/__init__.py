"""Many virtual ovens instead of one: how sure is a rehearsal, which tuning suits, how thick must the insulation be.

`study(oven, schedule, draws, …)` → `Study`; see `kilnctl.studies.many_draws`.
"""

from .inputs import Vary, load_vary, usual
from .many_draws import Study, case_of, run_case, study
from .thickness import thickness_for

__all__ = ["Study", "Vary", "case_of", "load_vary", "run_case", "study", "thickness_for", "usual"]
