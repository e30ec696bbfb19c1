"""What a recording says: read, what is found in it, judged against its model, and kept."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..lazy import lazy_names

if TYPE_CHECKING:
    from .budget import BudgetTable, budget_table
    from .judging import (
        conditions_of_table,
        fed_by_rig,
        frozen_conditions,
        judge_curves,
        measuring_for,
        ruled,
    )
    from .kept import (
        KeptConditions,
        KeptCut,
        KeptHeard,
        KeptOverruling,
        KeptPrediction,
        KeptRecording,
        KeptResult,
        conditions_of,
        result_of,
    )
    from .oil import oil_findings
    from .reading import ReadResult, read_recording
    from .results import (
        SpinResult,
        advice_json,
        finding_json,
        heard_json,
        judgement_json,
        reason_of,
    )
    from .run_findings import (
        change_findings,
        cut_findings,
        doubt_findings,
        level_findings,
        model_findings,
        reached_findings,
        shape_findings,
        usual_whirl,
    )
else:
    __getattr__ = lazy_names(
        __name__,
        {
            "budget": ("BudgetTable", "budget_table"),
            "judging": (
                "conditions_of_table",
                "fed_by_rig",
                "frozen_conditions",
                "judge_curves",
                "measuring_for",
                "measuring_for",
                "ruled",
            ),
            "kept": (
                "KeptConditions",
                "KeptCut",
                "KeptOverruling",
                "KeptPrediction",
                "KeptRecording",
                "KeptHeard",
                "KeptResult",
                "conditions_of",
                "result_of",
            ),
            "oil": ("oil_findings",),
            "reading": (
                "ReadResult",
                "read_recording",
            ),
            "results": (
                "SpinResult",
                "advice_json",
                "finding_json",
                "judgement_json",
                "heard_json",
                "heard_json",
                "reason_of",
            ),
            "run_findings": (
                "change_findings",
                "cut_findings",
                "doubt_findings",
                "doubt_findings",
                "level_findings",
                "model_findings",
                "reached_findings",
                "shape_findings",
                "usual_whirl",
            ),
        },
    )

__all__ = [
    "BudgetTable",
    "KeptConditions",
    "KeptCut",
    "KeptHeard",
    "KeptOverruling",
    "KeptPrediction",
    "KeptRecording",
    "KeptResult",
    "ReadResult",
    "SpinResult",
    "advice_json",
    "budget_table",
    "change_findings",
    "conditions_of",
    "conditions_of_table",
    "cut_findings",
    "doubt_findings",
    "fed_by_rig",
    "finding_json",
    "frozen_conditions",
    "heard_json",
    "judge_curves",
    "judgement_json",
    "level_findings",
    "measuring_for",
    "model_findings",
    "oil_findings",
    "reached_findings",
    "read_recording",
    "reason_of",
    "result_of",
    "ruled",
    "shape_findings",
    "usual_whirl",
]
