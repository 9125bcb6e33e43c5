"""`loomtest bench`: the whole job in a browser, on this machine and on a phone beside the loom."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from loomtest.commands.app import app
from loomtest.commands.keep import ARCHIVE_HELP

if TYPE_CHECKING:
    from loomtest.web.server import BenchServer

LOOMS = "looms"


@app.command(epilog="Example: loomtest bench\nExample: loomtest bench my_loom --phone")
def bench(
    folder: Annotated[
        Path | None,
        typer.Argument(
            help="A loom's folder, or one that holds several; without it this folder where it holds a wire "
            "list, else the folder looms in your home folder.",
            show_default=False,
        ),
    ] = None,
    phone: Annotated[
        bool, typer.Option("--phone", help="Let a phone on your own network in, with a pairing code.")
    ] = False,
    port: Annotated[
        int,
        typer.Option(
            help="The port to serve on (default: a free one).", min=0, max=65535, show_default=False
        ),
    ] = 0,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Print the address and open no browser.")
    ] = False,
    archive: Annotated[str | None, typer.Option(help=ARCHIVE_HELP)] = None,
    tls: Annotated[
        bool, typer.Option("--tls", help="Encrypt the page, with a certificate made here.")
    ] = False,
    demo: Annotated[
        bool,
        typer.Option("--demo", help="An invented loom with a rehearsed meter: watch the job run by itself."),
    ] = False,
    desktop: Annotated[
        bool, typer.Option("--desktop", help="Put a file to double-click on your desktop, and end.")
    ] = False,
    address: Annotated[
        str, typer.Option(help="With --phone: this computer's address, where it has several.")
    ] = "",
) -> None:
    """Open a page in your browser for the whole job: notes, measuring, faults, report.

    The page is for this computer alone. With --phone another screen on your own network can be let in with a
    pairing code; without --tls what it shows is not encrypted.

    The address that is printed works once. The page closes with Ctrl-C, with the button on it, or after an
    hour without anyone.
    """
    from loomtest.errors import InputError, Problem
    from loomtest.evidence.archive.folder import default_archive
    from loomtest.harness.workbook import split_sheet
    from loomtest.web.place import holds_loom
    from loomtest.web.server import BenchServer, Opening, is_private

    if address and (not phone or not is_private(address)):
        expected = "an address of a private network, together with --phone"
        raise InputError([Problem("--address", None, "", address, expected)])
    place = folder if folder is not None else Path() if holds_loom(Path()) else Path.home() / LOOMS
    if desktop:
        from loomtest.web.desktop import lay_on_desktop

        typer.echo(f"written: {lay_on_desktop(place)}")
        return
    file = split_sheet(place)[0]
    if file.exists() and not file.is_dir():
        expected = "a folder, of one loom or of several; a wire list goes into one, or is dropped on the page"
        raise InputError([Problem(str(place), None, "", "a file", expected)])
    if demo:
        from loomtest.web.rehearsed import rehearsed_folder

        place = rehearsed_folder()
    place.mkdir(parents=True, exist_ok=True)
    kept = Path(archive) if archive is not None else default_archive()
    server = BenchServer(Opening(place, kept, port, phone, tls, demo, address))

    def started() -> None:
        _tell(server, place)
        if not no_browser:
            import webbrowser

            webbrowser.open(server.address())

    server.run(started)
    typer.echo("The bench page is closed. Everything recorded is safe on disk.")


def _tell(server: "BenchServer", place: Path) -> None:
    from loomtest.web.screens import who_sees
    from loomtest.words import web as words

    typer.echo(f"The bench page of {place} is open. Its address, good once:")
    typer.echo(f"  {server.address()}")
    served = server.served
    if served.phone:
        code = served.keyring.code()
        typer.echo(f"On the phone: {served.phone}/enter")
        typer.echo(f"  pairing code {code[:4]} {code[4:]}")
    if served.keyring.after_crash:
        typer.echo(words.AFTER_CRASH)
    typer.echo(who_sees(served))
    typer.echo("Ctrl-C closes it.")
