"""``pulsewright plan``: prints how long a record may be."""

from __future__ import annotations

from dataclasses import asdict


def run_plan(
    sample_rate: str,
    trigger_period: str,
    record_length: int | None,
    pre_trigger: int,
    re_arm: str,
    asynchronous: bool,
    as_json: bool,
) -> int:
    """Print the plan, readable or as JSON, and return the exit code."""
    from pulsewright_analysis.planning import plan

    result = plan(sample_rate, trigger_period, record_length, pre_trigger, re_arm, asynchronous)
    if as_json:
        from pulsewright_app.printing import print_json

        print_json(asdict(result))
    else:
        from pulsewright_app.plan_table import print_plan

        print_plan(result)
    return 0
