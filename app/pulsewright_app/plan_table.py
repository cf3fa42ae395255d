"""The readable form of a plan."""

from __future__ import annotations

from pulsewright.quantity import engineering
from pulsewright_analysis.planning import Plan
from pulsewright_app.printing import page, pairs


def print_plan(plan: Plan) -> None:
    """Print a plan as a table, and in a sentence whether every trigger is kept."""
    out = page()
    out.print(
        pairs(
            [
                ("Record length", f"{plan.record_length:,} samples"),
                ("Record duration", engineering(plan.record_duration_s, "s", 6)),
                ("Dead time", f"{engineering(plan.dead_time_s, 's', 6)} ({plan.dead_time_samples:,} samples)"),
                ("Wait for the next trigger", engineering(plan.wait_s, "s", 6)),
                ("Margin beyond the re-arm time", engineering(plan.re_arm_margin_s, "s", 6)),
                ("Longest record", f"{plan.longest_record_samples:,} samples"),
            ]
        )
    )
    out.print(_sentence(plan))


def _sentence(plan: Plan) -> str:
    if plan.record_length <= plan.longest_record_samples:
        return "Every trigger is kept."
    if plan.keeps_one_trigger_in == 1:
        return "A trigger is lost now and then: the record leaves no sample to spare for an asynchronous trigger."
    return f"Only one trigger in {plan.keeps_one_trigger_in} is kept: the record reaches past the next one."
