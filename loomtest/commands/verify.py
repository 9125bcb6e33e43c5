"""`loomtest verify`: is every kept run still what was kept?"""

from typing import TYPE_CHECKING, Annotated

import typer

from loomtest.commands.app import app
from loomtest.commands.keep import ARCHIVE_HELP, BAG_HELP, INDEX_HELP, NEWEST_HELP, todays_redraw
from loomtest.commands.terminal.verbs import JSON_HELP, QUIET_HELP

if TYPE_CHECKING:
    from loomtest.evidence.archive.folder import Archive
    from loomtest.evidence.archive.verify import Checked


@app.command(
    epilog="Example: loomtest verify --archive evidence\n"
    "Example: loomtest verify --bag tractor-before --to-zip for-the-owner.zip"
)
def verify(
    key: Annotated[
        list[str] | None, typer.Option(help="A public key; every bag must be signed by one of those given.")
    ] = None,
    bag: Annotated[str | None, typer.Option(help=f"With --to-zip: the kept run to pack: {BAG_HELP}")] = None,
    newest: Annotated[bool, typer.Option("--newest", help=NEWEST_HELP)] = False,
    to_zip: Annotated[
        str | None, typer.Option(help="Check one bag and pack it into this zip file, to hand on.")
    ] = None,
    digest: Annotated[
        str | None,
        typer.Option(help="A code that keep printed, to see whether the archive was rewritten since."),
    ] = None,
    time_stamp_authority: Annotated[
        str | None,
        typer.Option(help="Certificates (PEM) of the time-stamp server: every run must be covered by it."),
    ] = None,
    redraw: Annotated[
        bool,
        typer.Option("--redraw", help="Judge every run again, and draw its page and pictures again."),
    ] = False,
    since: Annotated[
        str | None, typer.Option(help="Read only the runs kept since this date, YYYY-MM-DD.")
    ] = None,
    sample: Annotated[
        int | None, typer.Option(min=1, help="Read only so many runs, picked by chance.")
    ] = None,
    changed: Annotated[
        bool,
        typer.Option("--changed", help="Read only the runs whose files changed since they were last read."),
    ] = False,
    archive: Annotated[str | None, typer.Option(help=ARCHIVE_HELP)] = None,
    index: Annotated[str | None, typer.Option(help=INDEX_HELP)] = None,
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help=QUIET_HELP)] = False,
) -> None:
    """Check every byte of every kept run, the chain between them, and the index against them.

    With --redraw each run is judged again by today's rules, and its page and pictures are drawn again: the
    checksums cannot show what was replaced before a run was closed. Prints one line a bag.

    --since, --sample and --changed read fewer bags, and say how many. What --changed goes by stands in the
    index: only a verify without them proves every byte.

    The JSON object, "schema": "loomtest-verify/1": good (yes or no), bags (bag, wrong, unchecked, said).
    """
    if (bag is None) != (to_zip is None):
        raise typer.BadParameter("--bag NAME and --to-zip FILE go together", param_hint="--to-zip")
    from pathlib import Path

    from loomtest.commands.terminal.progress import Progress
    from loomtest.commands.terminal.screen import show, show_json
    from loomtest.evidence.archive.folder import archive_at
    from loomtest.words.lines import Line

    place = archive_at(archive, index)
    if bag is not None and to_zip is not None:
        from loomtest.evidence.archive.names import bag_meant
        from loomtest.evidence.archive.zip import export_bag

        with Progress(f"checking and packing {bag}", quiet):
            written = export_bag(place, bag_meant(place, bag, newest).folder, Path(to_zip))
        if as_json:
            show_json({"zip": written.as_posix()})
        else:
            show([Line(f"packed into {written.as_posix()}")])
        return
    from loomtest.evidence.archive.sign import load_public_key
    from loomtest.evidence.archive.verify import Checked, Scope, verify_archive
    from loomtest.evidence.archive.words import verify_lines

    keys = tuple(load_public_key(Path(name)) for name in key or ())
    checked: list[Checked] = []
    after = [_anchored(place, digest)] if digest is not None else []
    after += _stamps(place, time_stamp_authority)
    scope = Scope(_date(since), sample, changed)
    coming = verify_archive(place, todays_redraw() if redraw else None, keys, scope)
    while True:
        with Progress(f"checking bag {len(checked) + 1}", quiet):
            one = next(coming, None)
        if one is None:
            break
        checked.append(one)
        if not as_json:
            show(verify_lines([one]))
    checked += after
    if not as_json:
        show(verify_lines(after))
    wrong = [one for one in checked if not one.good]
    if as_json:
        bags = [
            {
                "bag": one.name,
                "wrong": list(one.wrong),
                "unchecked": list(one.unchecked),
                "said": list(one.said),
            }
            for one in checked
        ]
        show_json({"schema": "loomtest-verify/1", "good": not wrong, "bags": bags})
    raise typer.Exit(1 if wrong else 0)


def _stamps(archive: "Archive", authority: str | None) -> "list[Checked]":
    """The archive's time-stamps; with an authority's certificates their signatures too."""
    from loomtest.evidence.archive.folder import STAMPS

    if authority is None and not (archive.folder / STAMPS).is_dir():
        return []
    from pathlib import Path

    from loomtest.evidence.archive.timestamp import check_stamps, load_authority

    return check_stamps(archive, load_authority(Path(authority)) if authority is not None else None)


def _date(text: str | None) -> str:
    """A date as it stands in the names of bags, "" for none."""
    from datetime import date

    try:
        return "" if text is None else date.fromisoformat(text).isoformat()
    except ValueError:
        raise typer.BadParameter(f"{text} is no date; expected YYYY-MM-DD", param_hint="--since") from None


def _anchored(archive: "Archive", code: str) -> "Checked":
    """Whether the archive still begins with the runs that the code stands for."""
    from loomtest.evidence.archive.anchor import found_at
    from loomtest.evidence.archive.verify import Checked

    entries = archive.entries()
    runs = found_at(code, entries)
    if runs is None:
        return Checked(code, ("does not belong to this archive, or its runs were changed since",))
    return Checked(code, (), (f"the first {runs} of {len(entries)} kept runs are those of that day",))
