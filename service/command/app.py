"""The commands and their options. Each imports what it needs when it runs, so that the command starts fast."""

from pathlib import Path
from typing import Annotated

import typer

from service.command.output import refusing

EXIT_CODES = (
    "Exit codes: 0 done; 1 a check did not hold; 2 the input was refused; 3 a fault of the program; 141 nobody read on."
)

app = typer.Typer(
    name="hourmark",
    help="Adjudicate warranty claims on powered machinery by coverage terms that the maker writes as files. "
    + EXIT_CODES,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
policy_app = typer.Typer(
    help="Write, check, read, compare and publish coverage terms.", no_args_is_help=True, rich_markup_mode=None
)
app.add_typer(policy_app, name="policy")


def _say_version(wanted: bool) -> None:
    if wanted:
        from rules.decision.seal import ENGINE
        from service.command.output import say

        say(ENGINE)
        raise typer.Exit


@app.callback()
def _hourmark(
    version: Annotated[
        bool, typer.Option("--version", callback=_say_version, is_eager=True, help="Print the version and leave.")
    ] = False,
) -> None:
    """Nothing is done before the command itself."""


Policies = Annotated[
    list[Path], typer.Option("--policies", metavar="PATH", help="Directory or file of policies; may be repeated.")
]


@app.command(short_help="Decide the claims of the shipped scenario.")
@refusing
def demo(
    claim: Annotated[
        str | None, typer.Option(metavar="ID", help="Show the decision of this claim in full, instead of the summary.")
    ] = None,
    explain: Annotated[bool, typer.Option("--explain", help="Show how that decision was derived, too.")] = False,
    letter: Annotated[bool, typer.Option("--letter", help="Show the dealer's letter instead.")] = False,
    listing: Annotated[
        bool, typer.Option("--list", help="List every claim with what came out and why, one a line.")
    ] = False,
) -> None:
    """Decide the claims of the shipped scenario in memory, and show what came out."""
    from service.command.demo import run_demo

    run_demo(claim, explain=explain, letter=letter, listing=listing)


@app.command()
@refusing
def decide(
    claim: Annotated[
        Path,
        typer.Argument(
            metavar="CLAIM",
            help="The claim, YAML or JSON; or a list of claims, with --claim; or a claim file that was kept, alone.",
        ),
    ],
    policies: Policies,
    machine: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="The machine, or a list of machines; always but for a claim file."),
    ] = None,
    services: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The machine's service records (others are left out).")
    ] = None,
    tables: Annotated[
        list[Path] | None, typer.Option(metavar="PATH", help="File or directory of reference tables; may be repeated.")
    ] = None,
    dealer: Annotated[Path | None, typer.Option(metavar="FILE", help="The dealer, or a list of dealers.")] = None,
    payments: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Earlier payments on machines, for lifetime caps.")
    ] = None,
    claim_id: Annotated[str | None, typer.Option("--claim", metavar="ID", help="Which claim of a list.")] = None,
    decided_on: Annotated[
        str | None, typer.Option(metavar="DAY", help="The day of the decision, 2026-03-31; left out, today.")
    ] = None,
    keep: Annotated[
        Path | None,
        typer.Option(
            "--keep-claim-file",
            metavar="FILE",
            help="Write all that the decision rests on to FILE, from which it can be made again.",
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the Decision document as JSON.")] = False,
    explain: Annotated[bool, typer.Option("--explain", help="Show how the decision was derived.")] = False,
    letter: Annotated[bool, typer.Option("--letter", help="Print the dealer's letter instead.")] = False,
) -> None:
    """Decide one claim. Exit codes: 0 decided, whatever the outcome; 2 the input was refused."""
    from service.command.decide import Inputs, run_decide

    inputs = Inputs(claim, claim_id, machine, services, tuple(tables or ()), dealer, payments, tuple(policies))
    run_decide(inputs, decided_on, as_json=as_json, explain=explain, letter=letter, keep=keep)


@app.command()
@refusing
def cases(
    files: Annotated[list[Path], typer.Argument(metavar="FILE", help="Case tables, or directories of them.")],
    policies: Annotated[
        list[Path] | None,
        typer.Option(
            "--policies", metavar="PATH", help="Directory or file of policies; left out, those round each table."
        ),
    ] = None,
    verbose: Annotated[bool, typer.Option("--verbose", help="Name the cases that hold, too.")] = False,
) -> None:
    """Run tables of worked cases. Exit codes: 0 every case holds; 1 a case fails; 2 the input was refused."""
    from service.command.cases import run_cases

    run_cases(files, policies or [], verbose=verbose)


@app.command(short_help="Check or write the JSON Schemas of the files.")
@refusing
def schemas(
    directory: Annotated[Path, typer.Argument(metavar="DIR", help="Directory of the JSON Schemas.")] = Path(
        "schemas/json"
    ),
    write: Annotated[bool, typer.Option("--write", help="Write the schemas there.")] = False,
    check: Annotated[bool, typer.Option("--check", help="Only say whether those there are in step.")] = False,
) -> None:
    """Write the JSON Schemas of every document, or check those written. Exit codes: 0 in step; 1 out of step."""
    from service.command.schema_files import run_schemas

    run_schemas(directory, write=write, check=check)


@policy_app.command("check", short_help="List faults, warnings, and what the terms ask of owners.")
@refusing
def policy_check(
    directory: Annotated[Path, typer.Argument(metavar="DIR", help="Directory or file of policies.")],
) -> None:
    """List every fault with its place and the way out, then warnings, then what the terms demand of owners."""
    from service.command.policy import run_check

    run_check(directory)


@policy_app.command("show")
@refusing
def policy_show(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A policy file; the versions it names are looked for beside it.")
    ],
) -> None:
    """Print the terms in plain English."""
    from service.command.policy import run_show

    run_show(file)


@policy_app.command("diff")
@refusing
def policy_diff(
    before: Annotated[Path, typer.Argument(metavar="BEFORE", help="The one policy file.")],
    after: Annotated[Path, typer.Argument(metavar="AFTER", help="The other policy file.")],
) -> None:
    """Print what changes from one policy to another, clause by clause."""
    from service.command.policy import run_diff

    run_diff(before, after)


@policy_app.command("publish", short_help="Close the versions in a directory.")
@refusing
def policy_publish(directory: Annotated[Path, typer.Argument(metavar="DIR", help="Directory of policies.")]) -> None:
    """Close the versions in a directory: from then on a published file that changes is refused."""
    from service.command.policy import run_publish

    run_publish(directory)


@policy_app.command("new", short_help="Write a first policy of your own by eleven answers.")
@refusing
def policy_new(
    directory: Annotated[Path, typer.Argument(metavar="DIR", help="Directory to write the files to.")] = Path(
        "policies"
    ),
    maker: Annotated[str | None, typer.Option(metavar="NAME", help="Name of the maker.")] = None,
    name: Annotated[
        str | None, typer.Option(metavar="NAME", help="Short name of the coverage, such as wheel-drive.")
    ] = None,
    models: Annotated[
        str | None, typer.Option(metavar="CODES", help="Model codes with commas, such as 'QF40, QF60'.")
    ] = None,
    component: Annotated[str | None, typer.Option(metavar="WORD", help="The component, such as wheel_drive.")] = None,
    months: Annotated[str | None, typer.Option(metavar="MONTHS", help="Months of cover from delivery.")] = None,
    hours: Annotated[
        str | None, typer.Option(metavar="HOURS", help="Hours that end the cover if they come sooner, or none.")
    ] = None,
    first_services: Annotated[
        str | None, typer.Option(metavar="HOURS", help="Hours of the first services, such as '75, 400'.")
    ] = None,
    then_every: Annotated[str | None, typer.Option(metavar="HOURS", help="Hours between services after that.")] = None,
    free_until: Annotated[
        str | None, typer.Option(metavar="HOURS", help="Without the services: hours up to which the whole is paid.")
    ] = None,
    zero_at: Annotated[
        str | None, typer.Option(metavar="HOURS", help="Without the services: hours from which nothing is paid.")
    ] = None,
    currency: Annotated[str | None, typer.Option(metavar="CODE", help="Currency, such as EUR.")] = None,
    from_day: Annotated[
        str | None, typer.Option("--from", metavar="DAY", help="First day in force, 2026-03-31; left out, today.")
    ] = None,
) -> None:
    """Write a first policy of your own by eleven answers: long cover on proven service, a falling share without it."""
    from service.command.new import run_new

    answers = {
        "maker": maker,
        "name": name,
        "models": models,
        "component": component,
        "months": months,
        "hours": hours,
        "first_services": first_services,
        "then_every": then_every,
        "free_until": free_until,
        "zero_at": zero_at,
        "currency": currency,
    }
    run_new(directory, answers, from_day)
