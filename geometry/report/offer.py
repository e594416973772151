"""The offer: what is asked for a picture, from the estimate and the artist's own values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from ..build import Build
from ..fabricate.estimate import Estimate, estimate
from ..fabricate.paint_needs import CansNeeded, LayerPaint, cans_needed, layer_paints
from ..paint.spray_order import compare_orders
from ..paint.wall import wall_of
from .studio import OfferSettings, Studio


@dataclass(frozen=True)
class Price:
    """What is asked for one option, in the job's currency.

    Parameters
    ----------
    hours : float
        All of them.
    labour : float
    own_cost : float
        The estimate's total at its upper end, and extra cost: never in the client's copy.
    material : float
        Own cost with mark-up.
    net, tax, total : float
        Net is labour and material, rounded; total is net and tax.
    """

    hours: float
    labour: float
    own_cost: float
    material: float
    net: float
    tax: float
    total: float

    @property
    def labour_asked(self) -> float:
        """Labour as the client reads it, to the cent: with material it makes the net."""
        return round(self.net - self.material_asked, 2)

    @property
    def material_asked(self) -> float:
        """Material as the client reads it, to the cent."""
        return round(self.material, 2)


@dataclass(frozen=True)
class Option:
    """One size or surface of an offer.

    Parameters
    ----------
    build : Build
    estimate : Estimate
    price : Price
    paints : tuple of LayerPaint
    cans : tuple of CansNeeded
    """

    build: Build
    estimate: Estimate
    price: Price
    paints: tuple[LayerPaint, ...]
    cans: tuple[CansNeeded, ...]

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the sheets."""
        return self.build.job.sheet.width_mm, self.build.job.sheet.height_mm


@dataclass(frozen=True)
class Offer:
    """An offer with all its options.

    Parameters
    ----------
    studio : Studio
    options : tuple of Option
    day : date
        Of the offer.
    """

    studio: Studio
    options: tuple[Option, ...]
    day: date

    @property
    def until(self) -> date:
        """Last day that it holds."""
        return self.day + timedelta(days=self.studio.offer.valid_days)

    @property
    def currency(self) -> str:
        """What prices are in."""
        return self.options[0].estimate.currency


def price_of(found: Estimate, picture_m2: float, asked: OfferSettings) -> Price:
    """Return the price of a picture.

    Parameters
    ----------
    found : Estimate
        Its total, at its upper end, is the own cost.
    picture_m2 : float
        Area of the whole picture.
    asked : OfferSettings
    """
    hours = (
        asked.hours_design
        + asked.hours_sheets
        + asked.hours_set_up
        + asked.hours_per_m2 * picture_m2
    )
    labour = hours * asked.rate_h
    own = found.total.cost.high + asked.extra_cost
    material = own * (1 + asked.markup_percent / 100)
    steps = round((labour + material) / asked.round_to)
    net = round(steps * asked.round_to, 2)
    tax = round(net * asked.tax_percent / 100, 2)
    return Price(hours, labour, own, material, net, tax, round(net + tax, 2))


def offer_of(builds: Sequence[Build], studio: Studio, day: date) -> Offer:
    """Return the offer for one job, or for several as options side by side.

    Parameters
    ----------
    builds : sequence of Build
        One for each option.
    studio : Studio
    day : date
        From which the offer is valid.
    """
    options = []
    for build in builds:
        found = estimate(build)
        sheet = build.job.sheet
        area = sheet.width_mm * sheet.height_mm / 1e6 * build.job.estimate.walls
        coverings = compare_orders(wall_of(build)).given.coverings
        paints = layer_paints(build, found, studio.cans, coverings)
        options.append(
            Option(build, found, price_of(found, area, studio.offer), paints, cans_needed(paints))
        )
    return Offer(studio, tuple(options), day)


def money(value: float, currency: str) -> str:
    """Return an amount as it is printed.

    >>> money(1234.5, "EUR")
    '1 234.50 EUR'
    """
    return f"{value:,.2f}".replace(",", " ") + f" {currency}"


def size_text(size_mm: tuple[float, float]) -> str:
    """Return a size in centimetres.

    >>> size_text((400.0, 505.0))
    '40 x 50.5 cm'
    """
    return f"{size_mm[0] / 10:g} x {size_mm[1] / 10:g} cm"


def own_text(offer: Offer) -> str:
    """Return the artist's own copy: cost, hours, cans to buy; nothing of it is in the client's."""
    lines = ["For yourself only: own cost, hours and cans", ""]
    asked, unit = offer.studio.offer, offer.currency
    for option in offer.options:
        price, job = option.price, option.build.job
        cost = option.estimate.total.cost
        lines += [
            f"{job.title}, {size_text(option.size_mm)}",
            f"  hours           {price.hours:.1f} h at {money(asked.rate_h, unit)}",
            f"  labour          {money(price.labour, unit)}",
            f"  estimate        {money(cost.low, unit)} to {money(cost.high, unit)}, "
            "counted at its most",
            f"  extra cost      {money(asked.extra_cost, unit)}",
            f"  with mark-up    {money(price.material, unit)} ({asked.markup_percent:g} %)",
            f"  net asked       {money(price.net, unit)}",
            f"  tax             {money(price.tax, unit)} ({asked.tax_percent:g} %)",
            f"  asked           {money(price.total, unit)}",
            f"  left after cost {money(price.net - price.own_cost, unit)}",
        ]
        if price.labour == 0:
            lines.append("  NO LABOUR in this price: give rate_h and hours in [offer]")
        lines.append("  cans")
        for row in option.cans:
            can = row.match.can
            named = can is not None and not row.match.missing
            name = f"{can.name} {can.code}".strip() if can and named else row.match.colour
            lines.append(
                f"    {name}: {row.ml:.0f} ml, {row.cans} of them, {row.to_buy} to buy"
                + (f" for {money(row.price, unit)}" if row.price else "")
                + f"; {row.match.words}"
            )
        lines.append("")
    return "\n".join(lines)
