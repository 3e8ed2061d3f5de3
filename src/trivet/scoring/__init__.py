"""What was said beside what was so: one table, and the registry of metrics over it.

Importing the package fills the registry.
"""

import importlib
import pkgutil

from trivet.scoring.alertaccount import alert_study
from trivet.scoring.alertmetrics import alert_cases
from trivet.scoring.campaign import burner_figures
from trivet.scoring.labels import label_moments
from trivet.scoring.pieces import cook_checks, cook_pieces
from trivet.scoring.quantities import answers, questions
from trivet.scoring.sheet import score_sheet

__all__ = [
    "alert_cases",
    "alert_study",
    "answers",
    "burner_figures",
    "cook_checks",
    "cook_pieces",
    "label_moments",
    "questions",
    "score_sheet",
]

for _one in pkgutil.iter_modules(__path__, f"{__name__}."):
    importlib.import_module(_one.name)
