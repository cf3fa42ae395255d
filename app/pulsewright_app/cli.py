"""The command line: parses, calls, prints. Every heavy import waits until a command needs it."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from pulsewright.errors import PulsewrightError
from pulsewright_app.cli_options import File, Text, option
from pulsewright_app.help_lines import HelpfulContext
from pulsewright_app.printing import ReaderLeft
from pulsewright_app.recordings_cli import convert, describe, simulate, split

INPUT_IS_WRONG = 2
OWN_FAULT = 70
INTERRUPTED = 130
READER_LEFT = 141

SHOW_FAULTS = "PULSEWRIGHT_SHOW_FAULTS"


class OneLineErrors(TyperGroup):
    """Turns whatever ends a command into an exit code and at most one line on standard error."""

    context_class = HelpfulContext

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """Return a command, whose help breaks no word that is typed as it stands."""
        command = super().get_command(ctx, cmd_name)
        if command is not None:
            command.context_class = HelpfulContext
        return command

    def main(
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,
        windows_expand_args: bool = True,
        **extra: Any,
    ) -> Any:
        """Run a command; in the standalone mode of a process, end that process with the exit code."""
        more = {"prog_name": prog_name, "complete_var": complete_var, **extra}
        code = self._run(args, windows_expand_args=windows_expand_args, **more)
        if standalone_mode:
            sys.exit(code)
        return code

    def _run(self, args: Sequence[str] | None, **more: Any) -> int:
        try:
            code = super().main(args, standalone_mode=False, **more)
            sys.stdout.flush()
        except PulsewrightError as error:
            return _complain(error.sentence)
        except (KeyboardInterrupt, typer.Abort):
            return INTERRUPTED
        except (ReaderLeft, BrokenPipeError):
            _drop_output()
            return READER_LEFT
        except MemoryError:
            return _complain("there is not enough memory for this; choose fewer records with --records.")
        except Exception as error:
            return _complain_of(error)
        return code if isinstance(code, int) else 0


def _complain(sentence: str) -> int:
    print(f"pulsewright: {' '.join(sentence.split())}", file=sys.stderr)
    return INPUT_IS_WRONG


def _complain_of(error: Exception) -> int:
    """Tell what is wrong with the call or with a file; a fault of the program's own gets another exit code."""
    usage = _usage_sentence(error)
    if usage is not None:
        return _complain(usage)
    if os.environ.get(SHOW_FAULTS) == "1":
        raise error
    if isinstance(error, OSError):
        place = f"{error.filename}: " if error.filename else ""
        return _complain(f"{place}{error.strerror or error}.")
    _complain(
        f"a fault of the program itself ({type(error).__name__}: {error}); "
        f"please report it, with what {SHOW_FAULTS}=1 shows."
    )
    return OWN_FAULT


def _usage_sentence(error: Exception) -> str | None:
    """Return the sentence for a wrong call; None if the error is something else."""
    describe = getattr(error, "format_message", None)
    if describe is None:
        return None
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else "pulsewright"
    return " ".join(f"{describe().strip().rstrip('.')}; see {command} --help.".split())


def _drop_output() -> None:
    """Send what is still to be written nowhere, so that closing the stream cannot fail again."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())


app = typer.Typer(
    cls=OneLineErrors,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)

Claims = Annotated[
    Path | None, typer.Option(metavar="FILE", help="The claims file, if it is not NAME.claims.toml beside it.")
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON and nothing else on standard output.")]


@app.callback(invoke_without_command=True)
def pulsewright(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version and stop.")] = False,
) -> None:
    """Turn the recorded segments of a repetitive-trigger experiment into evidence.

    Example: pulsewright demo
    """
    if version:
        from importlib.metadata import version as installed

        print(f"pulsewright {installed('pulsewright')}")
        raise typer.Exit
    if context.invoked_subcommand is None:
        print(context.get_help())
        raise typer.Exit


@app.command(short_help="Show the sample with faults.")
def demo(
    headless: Annotated[bool, typer.Option("--headless", help="Measure and print, open no window.")] = False,
    out: Annotated[
        Path | None, option("FOLDER", "Where the findings and the evidence sheet go when no window is opened.")
    ] = None,
) -> int:
    """Open the sample with faults on the desk; with no display, measure it and print the findings.

    Example: pulsewright demo --headless --out findings
    """
    from pulsewright_app.demo_command import run_demo

    return run_demo(headless, out)


@app.command(short_help="Open the desk.")
def review(
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="A session file; none shows the first screen.")
    ] = None,
) -> int:
    """Open the desk, to walk through the records, overlay them, put markers down and read the findings.

    Example: pulsewright review tank_walk.h5
    """
    from pulsewright_app.display import require_display

    require_display()
    from pulsewright_app.desk.start import open_desk

    return open_desk(file, {})


@app.command(short_help="Measure a session; print the findings.")
def measure(
    file: File,
    claims: Claims = None,
    json: Json = False,
    csv: Annotated[
        Path | None, option("FOLDER", "Write each finding as a table, a CSV file, into this folder.")
    ] = None,
    span: Annotated[Text, option('"A .. B"', 'Where pulses are looked for: "0.1 ms .. 1.2 ms".')] = None,
    alignment_span: Annotated[Text, option('"A .. B"', "Where channel alignment is measured.")] = None,
    reference_pulse: Annotated[
        Text, option('"A .. B"', "Where the pulse lies from which the sequence is counted, if not from the trigger.")
    ] = None,
    channels: Annotated[Text, option("H01,H02", "The channels that take part.")] = None,
    channel: Annotated[Text, option("H01", "The channel whose pulses tell the sequence.")] = None,
    records: Annotated[Text, option("0:100", "The records that take part, the end not included.")] = None,
    position: Annotated[Text, option("NAME", "Pulse position: midpoint, leading, centroid or peak.")] = None,
    reference: Annotated[Text, option("H01", "The channel that skews are against.")] = None,
    threshold: Annotated[Text, option('"0.2 V"', "Distance from the base that makes a pulse.")] = None,
    min_width: Annotated[Text, option('"2 us"', "Shorter pulses are dropped.")] = None,
    min_gap: Annotated[Text, option('"20 us"', "Excursions closer than this are one pulse.")] = None,
    method: Annotated[Text, option("NAME", "Channel alignment by auto, sine or correlation.")] = None,
    sent: Annotated[Text, option("NUMBER", "How many triggers were sent.")] = None,
    increment: Annotated[Text, option('"2.7 us"', "The pulse's step from record to record, if known.")] = None,
    cycle: Annotated[Text, option("NUMBER", "Records after which it starts over, if known.")] = None,
    re_arm: Annotated[Text, option('"3 us"', "What the recorder needs between two records.")] = None,
    clock_ppm: Annotated[Text, option("NUMBER", "u of the sample clock's rate, parts per million.")] = None,
    delay: Annotated[
        list[str] | None,
        option('H03="12 ns"', "A channel's cable delay, in place of the file's; once for each channel.", "--delay"),
    ] = None,
    delay_u: Annotated[Text, option('"50 ps"', "u of each channel's cable delay.")] = None,
    splitter_u: Annotated[Text, option('"20 ps"', "u of each output of the splitter.")] = None,
    trigger_offset_u: Annotated[Text, option('"100 ps"', "u of the recorded trigger offsets.")] = None,
    scale_percent: Annotated[Text, option("NUMBER", "u of a channel's scale, percent.")] = None,
    budget: Annotated[
        Text, option('"skew H07"', "Print what the uncertainty of this one quantity is made of, term by term.")
    ] = None,
) -> int:
    """Measure a session and print the findings.

    Settings that are not given come from the review beside the session, then from its claims file. A u is a standard
    uncertainty (k = 1); one that is not given counts as 0.

    Example: pulsewright measure tank_faults.h5 --span "0.1 ms .. 1.2 ms" --json
    """
    from pulsewright_app.measure_command import run_measure

    options = {
        "span": span,
        "alignment_span": alignment_span,
        "reference_pulse": reference_pulse,
        "channels": channels,
        "channel": channel,
        "records": records,
        "position": position,
        "reference": reference,
        "threshold": threshold,
        "min_width": min_width,
        "min_gap": min_gap,
        "alignment_method": method,
        "sent": sent,
        "increment": increment,
        "cycle": cycle,
        "re_arm": re_arm,
        "clock_ppm": clock_ppm,
        "delays": delay or None,
        "delay_u": delay_u,
        "splitter_u": splitter_u,
        "trigger_offset_u": trigger_offset_u,
        "scale_percent": scale_percent,
    }
    return run_measure(file, claims, json, options, budget, csv)


@app.command(short_help="Draft a claims file from a session.")
def claims(
    new: Annotated[Path, typer.Argument(metavar="NEW.toml", help="The file to write.", show_default=False)],
    session: Annotated[Path, option("SESSION", "The session that the draft starts from.", "--from")],
) -> int:
    """Draft a claims file from what a session shows; every limit is left for a person to fill in.

    Settings come from the review beside the session, then from its claims file.

    Example: pulsewright claims new.claims.toml --from tank_walk.h5
    """
    from pulsewright_app.claims_command import run_claims

    return run_claims(new, session)


@app.command(short_help="Compare two sessions.")
def compare(
    old: Annotated[Path, typer.Argument(metavar="OLD", help="The session before the change.", show_default=False)],
    new: Annotated[Path, typer.Argument(metavar="NEW", help="The session after it.", show_default=False)],
    claims: Annotated[
        Path | None, option("FILE", "Measure both by this claims file, and judge both by its claims.")
    ] = None,
    swapped: Annotated[
        Text, option("H01:H05,…", "Pairs of inputs whose cables were exchanged: separates cables from recorder.")
    ] = None,
    same: Annotated[
        Text, option("WORDS", "What stayed the same: clock, cables, splitter, offsets, scales; its u cancels.")
    ] = None,
    to: Annotated[Path | None, option("SHEET", "Write it as a sheet too: a file that ends in .html or .pdf.")] = None,
    date: Annotated[str, option("TEXT", "The date on the sheet; a line to fill in if left out.")] = "",
    by: Annotated[str, option("TEXT", "Who made the sheet; a line to fill in if left out.")] = "",
    json: Json = False,
) -> int:
    """Compare two sessions: each quantity before and after a change, the difference, and whether it is significant.

    The exit code is that of the new session's claims.

    Example: pulsewright compare before.h5 after.h5 --claims tank.claims.toml --same clock,cables
    """
    from pulsewright_app.compare_command import run_compare

    return run_compare(old, new, claims, json, swapped, same, to, date, by)


@app.command(short_help="Bracket the re-arm time.")
def rearm(
    files: Annotated[
        list[Path], typer.Argument(metavar="SESSION…", help="Sessions at several trigger rates.", show_default=False)
    ],
    periods: Annotated[
        Text, option('"1 ms,0.9 ms"', "The trigger periods that were set, one for each session in their order.")
    ] = None,
    json: Json = False,
) -> int:
    """Bracket the recorder's re-arm time between the fastest clean session and the slowest lossy one.

    Example: pulsewright rearm slow.h5 faster.h5 fastest.h5 --periods "1 ms,0.9 ms,0.8 ms"
    """
    from pulsewright_app.rearm_command import run_rearm

    return run_rearm(files, periods, json)


@app.command(short_help="Write the evidence sheet of a session.")
def evidence(
    file: File,
    to: Annotated[Path, option("SHEET", "The sheet to write: a file that ends in .html or .pdf.")],
    claims: Claims = None,
    date: Annotated[str, option("TEXT", "The date on the sheet; a line to fill in if left out.")] = "",
    by: Annotated[str, option("TEXT", "Who made the sheet; a line to fill in if left out.")] = "",
    json: Annotated[Path | None, option("FILE", "Write its numbers as JSON too: a file that ends in .json.")] = None,
) -> int:
    """Write the evidence sheet: claims with their verdicts, and the numbers, figures and settings behind them.

    Settings come from the review beside the session, then from its claims file. The same session, claims and review
    give the same HTML, byte for byte.

    Example: pulsewright evidence tank_faults.h5 --to sheet.pdf --by "A. Person"
    """
    from pulsewright_app.evidence_command import run_evidence

    return run_evidence(file, to, claims, date=date, by=by, json_file=json)


@app.command(short_help="List the records, or those that match a filter.")
def records(
    file: File,
    where: Annotated[
        str, option('"EXPRESSION"', 'Which records: "polarity negative and residual > 3 u".', "--where")
    ] = "",
    channel: Annotated[Text, option("H01", "The channel to see them from.")] = None,
    json: Json = False,
    csv: Annotated[bool, typer.Option("--csv", help="Print CSV on standard output.")] = False,
    span: Annotated[Text, option('"A .. B"', 'Where pulses are looked for: "0.1 ms .. 1.2 ms".')] = None,
) -> int:
    """List the records with what was measured of each and what the review says of it.

    The filter knows words (flagged, left out, clipped, polarity negative, late), comparisons (gap > 1.5 ms,
    residual > 3 u), ranges (record 10 .. 40), and, or, not and brackets. A wrong one is told with what may stand there.

    Example: pulsewright records tank_faults.h5 --where "missed before or clipped anywhere"
    """
    from pulsewright_app.records_command import run_records

    return run_records(file, where, channel, json, csv, {"span": span})


@app.command(short_help="Say how long a record may be.")
def plan(
    sample_rate: Annotated[str, option('"25 MS/s"', "The sample rate.")],
    trigger_period: Annotated[str, option('"1.024 ms"', "The time between two triggers.")],
    record_length: Annotated[int | None, option("N", "Samples; the longest that fits if left out.")] = None,
    pre_trigger: Annotated[int, option("N", "Samples of the record before the trigger.")] = 0,
    re_arm: Annotated[str, option('"3 us"', "What the recorder needs between two records.")] = "0 s",
    asynchronous: Annotated[
        bool, typer.Option("--asynchronous", help="The trigger may fall anywhere between two samples.")
    ] = False,
    json: Json = False,
) -> int:
    """Say how long a record may be, and what is left before the next trigger.

    Example: pulsewright plan --sample-rate "25 MS/s" --trigger-period "1.024 ms" --record-length 25000
    """
    from pulsewright_app.plan_command import run_plan

    return run_plan(sample_rate, trigger_period, record_length, pre_trigger, re_arm, asynchronous, json)


@app.command(short_help="Measure every session under a folder.")
def campaign(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="The folder that the sessions lie in.", show_default=False)
    ],
    claims: Annotated[Path, option("FILE", "The claims that every session is judged by.")],
    to: Annotated[Path, option("RESULTS.sqlite", "Where the results go; what is in it already is not done again.")],
    cluster: Annotated[
        Text, option("tcp://HOST:PORT", "A Dask scheduler; its workers must see the folder at the same place.")
    ] = None,
    workers: Annotated[
        int | None, typer.Option(metavar="N", min=1, help="Processes on this machine; one for each core if left out.")
    ] = None,
    csv: Annotated[Path | None, option("FOLDER", "Write the results as tidy CSV tables into this folder.")] = None,
    trend: Annotated[
        Path | None, option("PAGE.html", "Write a page: each claim over the sessions, with U and limit.")
    ] = None,
    json: Json = False,
) -> int:
    """Measure every session under a folder against the same claims, on all cores or on a cluster.

    What is new or changed is measured; a session that cannot be is a row with its reason. A run that is stopped loses
    only the sessions that were being measured: the same command goes on.

    Example: pulsewright campaign runs --claims tank.claims.toml --to runs.sqlite --trend runs.html
    """
    from pulsewright_app.campaign_command import run_campaign_command

    return run_campaign_command(
        folder, claims, to, cluster=cluster, workers=workers, csv_folder=csv, trend=trend, as_json=json
    )


app.command(short_help="Say what a session file or a recording holds.")(describe)
app.command(short_help="Bring recordings in, or write a session out.")(convert)
app.command(short_help="Cut a continuous capture into records.")(split)
app.command(short_help="Make a session with a known truth.")(simulate)


@app.command("desktop-entry", short_help="Let a Linux desktop list the program.")
def desktop_entry(
    to: Annotated[Path | None, option("FOLDER", "Where it goes; the user's own folder of entries if left out.")] = None,
) -> int:
    """Write a desktop entry with its icon, so that a Linux desktop lists the program and opens sessions with it.

    Example: pulsewright desktop-entry
    """
    from pulsewright_app.icon.desktop_entry import applications_folder, write_desktop_entry

    print(write_desktop_entry(applications_folder() if to is None else to))
    return 0


def run() -> None:
    """Run the command line; the entry point of ``pulsewright``."""
    app(prog_name="pulsewright")
