"""Price lists: the commented one, what is refused, and sums worked out by hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from phototemplate import cli
from phototemplate.errors import InputError
from phototemplate.studies.estimate import Estimate, estimate
from phototemplate.studies.price_list import PriceList, new_price_list, read_price_list
from phototemplate.studies.pricing import Choice, Price
from phototemplate.studies.sample_price import sample
from phototemplate.template.spec import AlongSpec, CutoutSpec, MaterialSpec, PieceSpec, ShopSpec, SplashSpec, TemplateSpec
from tests.template.samples import rectangle

FT2, FT = 304.8**2, 304.8


def prices(**more: Any) -> PriceList:
    return PriceList.model_validate({"area": {"granite": 70.0}, "edge": {"eased": 10.0}} | more)


def top(prices: PriceList, choice: Choice | None = None, **material: Any) -> Estimate:
    """2400 x 600 mm before a wall and in a corner: front and one end finished, 3 m together."""
    shop = ShopSpec(overhang=0.0, end_overhang=0.0, wall_clearance=0.0, material=MaterialSpec.model_validate(material))
    spec = TemplateSpec(pieces=[PieceSpec(id="top", loop="run")], shop=shop)
    return estimate(rectangle(2400.0, 600.0), spec, prices=prices, choice=choice)


def likely(made: Estimate) -> float:
    assert made.price is not None
    return made.price.likely


def test_the_commented_list_is_read_and_says_everything(tmp_path: Path) -> None:
    path = new_price_list(tmp_path / "prices.toml")
    made = read_price_list(path)
    text = path.read_text(encoding="utf-8")
    for name in PriceList.model_fields:
        assert name in text, f"the commented list does not show {name}"
        assert getattr(made, name) != PriceList.model_fields[name].get_default() or name in (
            "currency", "area_unit", "length_unit", "distance_unit", "discount_percent",
        )  # fmt: skip
    with pytest.raises(InputError, match="exists already"):
        new_price_list(path)


def test_commands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    runner = CliRunner()
    assert runner.invoke(cli.app, ["prices", "new", "p.toml"]).exit_code == 0
    checked = runner.invoke(cli.app, ["prices", "check", "p.toml"])
    assert checked.exit_code == 0, checked.output
    # 8 ft x 25.5 in = 17 ft2, 12 % waste, 68 each; edges 8 ft + 25.5 in eased at 9; splash 14; sink 275; removal 150 and 4
    # per ft2; delivery 80 and 10 mi at 2.50; fitting 350; tax 8.25 %; rounded to 1
    sums = 17 * 1.12 * 68 + (8 + 25.5 / 12) * 9 + 8 * 14 + 275 + 150 + 4 * 17 + 80 + 25 + 350
    assert f"granite, 3 cm: USD {round(sums * 1.0825):,}.00" in checked.output
    assert runner.invoke(cli.app, ["prices", "look", "p.toml"]).exception is not None


def test_sample_by_slab_counts_whole_slabs() -> None:
    made = sample(prices(area={}, slab={"quartzite": 1450.0}), "quartzite", "eased")
    assert made.lines[0].likely == 1450.0
    assert made.lines[0].quantity == "1"


@pytest.mark.parametrize(
    ("tree", "said"),
    [
        ({"area": {"granite": 68.0}, "slab": {"granite": 1450.0}}, r"'granite' stands in \[area\] and in \[slab\]"),
        ({"waste_percent": {"granit": 10.0}}, r"\[waste_percent\] names 'granit'"),
        ({"slab_size": {"granite": "120 x 70 in"}}, r"not in \[slab\]"),
        ({"edges": {"eased": 9.0}}, "unknown key `edges`; did you mean `edge`"),
        ({"minimum": -1.0}, "`minimum`"),
        ({"delivery": {"per_mile": 2.0}}, "delivery.per_mile"),
    ],
)
def test_what_could_mean_two_things_is_refused(tree: dict[str, Any], said: str, tmp_path: Path) -> None:
    import tomlkit

    path = tmp_path / "p.toml"
    path.write_text(tomlkit.dumps({"area": {"granite": 68.0}} | tree), encoding="utf-8")
    with pytest.raises(InputError, match=said):
        read_price_list(path)


def test_nothing_is_chosen_silently() -> None:
    two = prices(edge={"mitred": 95.0, "eased": 30.0})
    with pytest.raises(InputError, match=r"several finishes of edges \(mitred, eased\).*--edge"):
        top(two, kind="granite")
    assert likely(top(two, Choice(finish="eased"), kind="granite")) < likely(top(two, Choice(finish="mitred"), kind="granite"))
    stones = prices(area={"granite": 70.0, "marble": 90.0})
    with pytest.raises(InputError, match=r"several stones.*granite, marble.*--material"):
        top(stones)
    assert likely(top(stones, Choice(stone="marble"))) == likely(top(stones, name="marble"))
    assert likely(top(prices())) == likely(top(prices(), kind="granite"))


def test_a_finish_for_each_edge() -> None:
    two = prices(edge={"mitred": 95.0, "eased": 30.0}, area={"granite": 0.0})
    made = top(two, Choice(finish="eased", finishes={"right": "mitred"}))
    assert likely(made) == pytest.approx((2400.0 * 30.0 + 600.0 * 95.0) / FT, rel=1e-6)
    with pytest.raises(InputError, match=r"no finished edge 'back'; its finished edges are front, right"):
        top(two, Choice(finish="eased", finishes={"back": "mitred"}))


def test_sums_by_hand() -> None:
    """Waste, discount, minimum, tax, rounding, removal and delivery, each on its own."""
    base = 70.0 * 1.44e6 / FT2 + 10.0 * 3000.0 / FT
    assert likely(top(prices())) == pytest.approx(base)
    assert likely(top(prices(waste_percent={"granite": 20.0}))) == pytest.approx(base + 0.2 * 70.0 * 1.44e6 / FT2)
    assert likely(top(prices(discount_percent=10.0))) == pytest.approx(0.9 * base)
    assert likely(top(prices(discount_percent=10.0, tax_percent=8.0))) == pytest.approx(0.9 * 1.08 * base)
    assert likely(top(prices(minimum=2000.0, tax_percent=8.0))) == pytest.approx(2160.0)
    # the minimum comes after the discount
    assert likely(top(prices(minimum=base, discount_percent=10.0))) == pytest.approx(base)
    rounded = top(prices(round_to=50.0)).price
    assert rounded is not None
    assert (rounded.low, rounded.likely, rounded.high) == (1150.0, 1200.0, 1200.0)
    assert not rounded.minimum_applies
    least = top(prices(round_to=50.0, minimum=1960.0)).price
    assert least is not None
    assert (least.likely, least.minimum_applies) == (1950.0, True)
    removal = prices(removal={"each": 100.0, "per_area": 3.0})
    assert likely(top(removal)) == pytest.approx(base)
    assert likely(top(removal, Choice(removal=True))) == pytest.approx(base + 100.0 + 3.0 * 1.44e6 / FT2)
    delivery = prices(delivery={"each": 80.0, "free_distance": 10.0, "per_distance": 2.0, "per_floor": 40.0})
    assert likely(top(delivery, Choice(distance=4.0))) == pytest.approx(base + 80.0)
    assert likely(top(delivery, Choice(distance=25.0, floors=2))) == pytest.approx(base + 80.0 + 15.0 * 2.0 + 2 * 40.0)


def test_what_a_job_asks_for_and_the_list_lacks_is_named() -> None:
    with pytest.raises(InputError, match=r"no \[removal\]"):
        top(prices(), Choice(removal=True))
    with pytest.raises(InputError, match=r"no \[delivery\]"):
        top(prices(), Choice(distance=3.0))
    with pytest.raises(InputError, match=r"how far it is in mi with --distance"):
        top(prices(delivery={"per_distance": 2.0}))


def test_uprights_and_cutouts_by_kind() -> None:
    sink = CutoutSpec(
        id="sink", run="front", along=AlongSpec(edge="left", distance=1200.0), setback=90.0, width=700.0, depth=400.0
    )
    piece = PieceSpec(id="top", loop="run", splashes=[SplashSpec(id="s", edge="back", height=100.0)], cutouts=[sink])
    spec = TemplateSpec(pieces=[piece], shop=ShopSpec(overhang=0.0, end_overhang=0.0, wall_clearance=0.0))
    with pytest.raises(InputError, match=r"no \[splash\]"):
        estimate(rectangle(2400.0, 600.0), spec, prices=prices(cutout={"sink": 275.0}))
    listed = prices(cutout={"sink": 275.0}, splash={"each": 14.0})
    made: Price | None = estimate(rectangle(2400.0, 600.0), spec, prices=listed).price
    assert made is not None
    lines = {line.what: line.likely for line in made.lines}
    assert lines["splash"] == pytest.approx(14.0 * 2400.0 / FT, rel=1e-3)
    assert lines["cut-out, sink"] == 275.0
