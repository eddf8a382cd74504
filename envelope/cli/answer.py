"""Standard output is for the answer, standard error for everything else."""

import os
import sys

import click


def answer(text: str) -> None:
    """Print to standard output; a reader that has gone (`| head`) changes nothing else."""
    try:
        click.echo(text, nl=False)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def remark(text: str) -> None:
    """Print a line to standard error."""
    click.echo(text, err=True)
