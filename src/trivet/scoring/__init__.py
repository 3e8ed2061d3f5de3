"""What was said beside what was so: readings, alerts and simulator held against the truth."""

from trivet.scoring.alertaccount import alert_study
from trivet.scoring.alertcases import alert_cases
from trivet.scoring.moments import label_moments
from trivet.scoring.pieces import ScoredCook, SeenCook, cook_checks, cook_pieces
from trivet.scoring.quantities import answers, questions
from trivet.scoring.scores import burner_scores
from trivet.scoring.sheet import score_sheet

__all__ = [
    "ScoredCook",
    "SeenCook",
    "alert_cases",
    "alert_study",
    "answers",
    "burner_scores",
    "cook_checks",
    "cook_pieces",
    "label_moments",
    "questions",
    "score_sheet",
]
