"""``quote.toml`` beside a job: for whom a quote is, and what is offered.

::

    number = "2026-117"
    date = 2026-03-14              # left out: today
    note = "Colour as the sample of last week."
    language = "de"                # left out: as the price list's [shop] says
prices = "prices.toml"         # left out: the one of the command line
sent = 2026-03-14              # the app writes these two
accepted = 1                   # which option the customer took

    [customer]
    name = "A. Customer"
    address = ["12 Sample Street", "Sampletown"]

    [site]
    removal = true                 # an old top is taken away
    distance = 12                  # in the price list's unit
    floors = 0

    [[options]]                    # side by side on the quote; left out: the choice of the command line
    title = "Granite, eased"
    stone = "granite, 3 cm"        # as the price list names it
    finish = "eased"
    [[options]]
    title = "Quartzite, mitred front"
    stone = "quartzite, 3 cm"
    finish = "eased"
    finishes = { front = "mitred" }
"""

from __future__ import annotations

from datetime import date as Date
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from phototemplate.settings import Section
from phototemplate.studies.pricing import Choice
from phototemplate.toml_file import read_toml

QUOTE_FILE = "quote.toml"


class Customer(Section):
    """Who gets the quote."""

    name: str = ""
    address: list[str] = []


class Site(Section):
    """What the job is like, whatever is chosen."""

    removal: bool = False
    distance: Annotated[float, Field(ge=0)] | None = None
    floors: Annotated[int, Field(ge=0)] = 0


class Offer(Section):
    """One thing to choose."""

    title: str = ""
    stone: str = ""
    finish: str = ""
    finishes: dict[str, str] = {}


class QuoteFile(Section):
    """See the module's text."""

    number: str = ""
    date: Date | None = None
    note: str = ""
    language: Literal["en", "de"] | None = None
    """Of this quote; left out: as the price list says"""
    prices: str = ""
    """Name of the price list, a file beside the job or in the folder of jobs"""
    sent: Date | None = None
    """When it went to the customer"""
    accepted: Annotated[int, Field(ge=1)] | None = None
    """Number of the option that the customer has taken"""
    customer: Customer = Customer()
    site: Site = Site()
    options: list[Offer] = []

    def choices(self, otherwise: Choice) -> list[tuple[str, Choice]]:
        """Title and choice of every option; without options the given one. The site is the file's where it names one."""
        site = self.site if "site" in self.model_fields_set else Site(
            removal=otherwise.removal, distance=otherwise.distance, floors=otherwise.floors
        )
        offers = self.options or [Offer(stone=otherwise.stone, finish=otherwise.finish, finishes=dict(otherwise.finishes))]
        return [
            (offer.title, Choice(offer.stone, offer.finish, offer.finishes, site.removal, site.distance, site.floors))
            for offer in offers
        ]


def read_quote_file(path: Path) -> QuoteFile:
    """Read ``quote.toml``; the defaults where there is none. Raises ``InputError`` with the place of the first fault."""
    return read_toml(path, QuoteFile) if path.exists() else QuoteFile()
