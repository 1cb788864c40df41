"""The cost sheet beyond the worked case: routes, donors, what is left over, what lacks, what is told."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitvalue.intake.settings.shop import Route, Shop
from kitvalue.intake.text.problems import FileError, RefusedError, texts
from kitvalue.workshop import costing as say
from kitvalue.workshop.build import Group, exact_cost
from kitvalue.workshop.costing import CostSheet, Line, RouteCost, cost_sheet
from kitvalue.workshop.money import cents
from kitvalue.workshop.quantities import sheet_note
from kitvalue.workshop.shares import purchase_price
from kitvalue.workshop.sheets import Nesting
from kitvalue.workshop.tax import scheme_of
from tests import worked
from tests.reckoning.purchases import TABLE
from tests.reckoning.schemes import PlanDonor, from_old_route, of_plan

FEE = Decimal("0.029")  # the worked case's


def tables(**changes: Any) -> dict[str, Any]:
    return worked.plan_tables() | changes


def sheet(plan: dict[str, Any] | None = None, **settings: Any) -> CostSheet:
    return cost_sheet(worked.plan(**(plan or {})), worked.shop(**settings))


def route(made: CostSheet, name: str) -> RouteCost:
    return next(r for r in made.routes if r.route == name)


def line(lines: tuple[Line, ...], what: str) -> Line:
    (found,) = [row for row in lines if row.what.startswith(what)]
    return found


def codes(made: CostSheet) -> set[str]:
    return {caution.code for caution in made.cautions}


def donors(**first: Any) -> list[dict[str, Any]]:
    made = worked.plan_tables()["donor"]
    return [made[0] | first, made[1]]


# --- routes ----------------------------------------------------------------------------------------------------------


def test_both_routes_stand_side_by_side_and_none_is_said_to_be_closed() -> None:
    made = sheet()
    assert [(r.route, r.allowed) for r in made.routes] == [("full", True), ("margin", True), ("none", False)]
    assert route(made, "none").reason == "only for a business exempt from VAT (registered = false)"
    assert (route(made, "none").floor, route(made, "none").landed_at_cost) == (None, None)


def test_the_plans_route_goes_before_the_shops() -> None:
    assert sheet(route="margin").route == "margin"
    assert sheet({"route": "full"}, route="margin").route == "full"


def test_an_exempt_business_pays_gross_and_charges_no_vat() -> None:
    made = sheet({"route": "none"})
    heads = line(made.chosen.lines, "Heads")
    assert heads.net == cents(Decimal("14.20") * 14 * Decimal("1.23"))
    assert line(made.chosen.lines, "Stands").net == cents(-Decimal(60) + Decimal("0.029") * 60)
    assert line(made.chosen.lines, "Cut bearing").net == Decimal("294.00")  # one's own hours bear no VAT
    assert [r.allowed for r in made.routes] == [False, False, True]
    zero = made.chosen.zero_profit_price
    assert zero is not None
    assert abs(zero - (made.net_cost + Decimal("0.029") * 60) / (1 - Decimal("0.029"))) < Decimal("0.01")
    assert say.EXEMPT in made.cautions


@pytest.mark.parametrize(
    ("first", "words"),
    [
        ({"bought_from": "import"}, "donor A was imported"),
        ({"bought_from": "trade", "vat": "included"}, "donor A was bought from trade with VAT shown"),
        ({"price": 50.00}, "surplus of 60.00 from donor A is above its price of 50.00"),
    ],
)
def test_why_the_margin_scheme_is_closed(first: dict[str, Any], words: str) -> None:
    made = sheet({"donor": donors(**first)})
    side = route(made, "margin")
    assert (side.allowed, side.floor, side.zero_profit_price) == (False, None, None)
    assert side.reason is not None
    assert words in side.reason
    assert made.chosen.allowed
    with pytest.raises(FileError, match=words) as caught:
        sheet({"donor": donors(**first), "route": "margin"})
    (problem,) = caught.value.problems
    assert (problem.file, problem.column) == ("builds/worked.toml", "route")


@pytest.mark.parametrize("said", ["full", "margin", "none", None])
@pytest.mark.parametrize("shops", ["full", "margin", "none"])
@pytest.mark.parametrize("source", ["private", "import"])
def test_which_scheme_a_build_is_under(said: Route | None, shops: Route, source: str) -> None:
    """As the second route has it (an exempt business and a plan's `none` or closed margin are refused elsewhere)."""
    plan, shop = worked.plan(donor=donors(bought_from=source), route=said), worked.shop(route=shops)
    assert shop.tax is not None
    if said == "none" or (said == "margin" and (shops == "none" or source == "import")):
        return
    theirs = [PlanDonor(d.series, open=d.bought_from == "private") for d in plan.donor]
    expected = of_plan(from_old_route(shops), theirs, plan.finished.series, route=said or "").route
    assert scheme_of(plan, plan.donor, shop, shop.tax) == expected


def test_a_closed_donor_puts_a_plan_without_its_own_word_under_full_vat() -> None:
    closed = {"donor": donors(bought_from="import")}
    made, full = sheet(closed, route="margin"), sheet(closed | {"route": "full"})
    assert (made.route, made.chosen.floor) == ("full", full.chosen.floor)
    assert made.notes[-1] == "donor A was imported, so it is costed with full VAT"


def test_a_kit_of_new_shells_alone_has_nothing_second_hand() -> None:
    drums = [d | {"from": "new", "price": 100} for d in worked.plan_tables()["drum"]]
    made = sheet({"drum": drums, "donor": [], "surplus": []})
    assert route(made, "margin").reason == "no donor is bought: nothing in the kit is second-hand"
    assert made.chosen.purchase == 0


def test_a_cut_down_of_new_shells_alone_is_costed_with_full_vat() -> None:
    """A plan by the margin scheme whose first drum is a new shell: the sizes without a donor do not refuse the rest."""
    drums = worked.plan_tables()["drum"]
    new_first = sorted(drums, key=lambda drum: drum["from"] != "new")
    plan, shop = worked.plan(drum=new_first, route="margin"), worked.shop()
    small, next_size = cost_sheet(plan, shop, 1), cost_sheet(plan, shop, 2)
    assert (small.route, small.chosen.allowed, small.chosen.purchase) == ("full", True, 0)
    assert "no donor is bought at this size, so it is costed with full VAT" in small.notes
    assert (next_size.route, cost_sheet(plan, shop).route) == ("margin", "margin")
    assert not [note for note in next_size.notes if "full VAT" in note]
    assert small.net_cost == cost_sheet(worked.plan(drum=new_first, route="full"), shop, 1).net_cost


def test_vat_on_a_donor_is_deducted_only_where_the_seller_shows_it() -> None:
    shown = sheet({"donor": donors(bought_from="trade", vat="included")})
    assert line(shown.chosen.lines, "Donor A").net == cents(Decimal(340) / Decimal("1.23"))
    assert line(shown.chosen.lines, "Freight of donor A").net == 45  # the carrier's, counted whole
    exempt = sheet({"donor": donors(bought_from="trade", vat="exempt")})
    assert TABLE["trade", "exempt"] == TABLE["trade", "margin"] == TABLE["private", ""] == ("whole", True)
    assert [(r.net_cost, r.floor) for r in exempt.routes] == [(r.net_cost, r.floor) for r in sheet().routes]
    under_margin = sheet({"donor": donors(bought_from="trade", vat="margin")})
    assert line(under_margin.chosen.lines, "Donor A").net == Decimal("340.00")
    assert line(under_margin.chosen.lines, "Freight of donor A").net == Decimal("45.00")


def test_parts_with_vat_inside_count_net() -> None:
    parts = worked.plan_tables()["part"]
    made = sheet({"part": [parts[0] | {"vat": "included"}, parts[1]]})
    assert line(made.chosen.lines, "Heads").net == cents(Decimal("14.20") * 14 / Decimal("1.23"))


def test_parts_and_work_never_enlarge_the_purchase_price() -> None:
    dearer = [p | {"each": p["each"] * 3} for p in worked.plan_tables()["part"]]
    assert (
        sheet({"part": dearer}, work_rate=99.00).chosen.purchase
        == sheet().chosen.purchase
        == worked.expected("margin_route", "purchase")
    )


def test_a_donors_price_is_parted_once() -> None:
    made = sheet()
    assert [(a.donor, a.price, a.sold_off, a.kept, a.kit) for a in made.apportioned] == [
        ("A", 340, 60, 0, 280),
        ("B", 280, 90, 0, 190),
    ]
    assert sum(a.kit for a in made.apportioned) == worked.expected("margin_route", "purchase")
    cut = cost_sheet(worked.plan(donor=donors(spare=40.00)), worked.shop(), 2)
    (first,) = cut.apportioned
    assert (first.price, first.sold_off, first.kept, first.kit) == (340, 60, 80, 200)


def test_more_sold_off_than_paid_leaves_less_than_nothing_and_no_purchase_price() -> None:
    made = sheet({"donor": donors(price=50.00)})
    assert made.apportioned[0].kit == -10
    assert made.chosen.purchase == 190  # B's alone


def test_landed_at_the_floor_is_the_floor_with_freight() -> None:
    for side in sheet().routes:
        if side.floor is not None:
            assert side.landed_at_floor == side.floor + 60
    assert route(sheet(), "none").landed_at_floor is None


# --- fewer drums -----------------------------------------------------------------------------------------------------


def test_leftover_drums_are_credited_at_spare_and_leave_the_purchase_price() -> None:
    plan = worked.plan(donor=donors(spare=40.00))
    whole, cut = cost_sheet(plan, worked.shop(), 4), cost_sheet(plan, worked.shop(), 2)
    assert not any("left over" in row.what for row in whole.chosen.lines)
    assert line(cut.chosen.lines, "Drums of donor A left over").net == cents(-80 / Decimal("1.23") + 80 * FEE)
    assert route(cut, "margin").purchase == route(whole, "margin").purchase - 80
    assert cut.notes == ()


def test_a_row_says_that_leftover_drums_are_not_credited() -> None:
    cut = cost_sheet(worked.plan(), worked.shop(), 3)
    assert cut.notes == ("1 drum of donor A left over, not credited (no spare given)",)


def test_a_donor_none_of_whose_drums_is_built_goes_with_freight_and_surplus() -> None:
    cut = cost_sheet(worked.plan(), worked.shop(), 4)
    assert not any("donor B" in row.what or "from B" in row.what or "Donor B" in row.what for row in cut.chosen.lines)
    assert line(cut.chosen.lines, "Send").quantity == Decimal("1.5")


def test_a_donor_bought_for_its_surplus_alone_stays() -> None:
    extra = {"id": "C", "series": "Slane", "pieces": 2, "condition": 1, "price": 70.00, "freight": 0}
    cut = cost_sheet(worked.plan(donor=[*donors(), extra]), worked.shop(), 3)
    assert line(cut.chosen.lines, "Donor C").net == Decimal("70.00")


# --- what lacks ------------------------------------------------------------------------------------------------------


def test_an_unknown_freight_is_counted_and_told() -> None:
    made = sheet({"donor": donors(freight=None)})
    assert line(made.chosen.lines, "Freight of donor A").net is None
    assert made.net_cost == worked.expected("full", "net_cost") - 45
    assert made.total.text() == "2,418.76 + 1 unknown"
    assert made.incomplete == ("Freight of donor A",)
    totals = {sub.group: sub.total.text() for sub in made.subtotals()}
    assert totals[Group.DONORS] == "650.00 + 1 unknown"
    assert totals[Group.WORK] == "1,209.60"
    assert any("Not known: Freight of donor A" in text for text in texts(made.cautions))


def test_free_freight_is_not_unknown() -> None:
    assert sheet({"donor": donors(freight=0)}).incomplete == ()


@pytest.mark.parametrize("table", ["tax", "selling"])
def test_a_table_that_lacks_is_named_with_its_keys(table: str) -> None:
    shop = worked.shop().model_copy(update={table: None})
    with pytest.raises(FileError, match=rf"add the table \[{table}\] with"):
        cost_sheet(worked.plan(), shop)


def test_every_table_that_lacks_is_named_at_once() -> None:
    shop = Shop.model_validate({"shop": {"name": "Dock Road Drums", "currency": "EUR"}})
    with pytest.raises(FileError) as caught:
        cost_sheet(worked.plan(), shop)
    assert [p.column for p in caught.value.problems] == ["tax", "selling"]


def test_hours_need_the_shops_rate() -> None:
    shop = worked.shop().model_copy(update={"work": None})
    own = worked.plan(work=[{"what": "All of it", "per": "kit", "hours": 20}])
    with pytest.raises(FileError, match=r"add \[work\] with rate"):
        cost_sheet(own, shop)
    sent_out = cost_sheet(worked.plan(work=[{"what": "All of it", "per": "kit", "each": 900}]), shop)
    assert line(sent_out.chosen.lines, "All of it").group is Group.SENT_OUT
    assert not any(row.group is Group.CONTINGENCY for row in sent_out.chosen.lines)


@pytest.mark.parametrize(("contingency", "hours", "lines"), [(8, 20, 1), (0, 20, 0), (8, 0, 0)])
def test_a_contingency_of_nothing_is_no_line(contingency: int, hours: int, lines: int) -> None:
    shop = worked.shop()
    assert shop.work is not None
    shop = shop.model_copy(update={"work": shop.work.model_copy(update={"contingency": Decimal(contingency)})})
    made = cost_sheet(worked.plan(work=[{"what": "All of it", "per": "kit", "hours": hours}]), shop)
    assert sum(row.group is Group.CONTINGENCY for row in made.chosen.lines) == lines


def test_hours_nobody_gave_are_asked_for() -> None:
    work = [{"what": "Spray", "operation": "spray", "per": "m2_outside"}]
    with pytest.raises(FileError, match=r'"spray" has no hours; add them under \[work\.hours\]'):
        sheet({"work": work})


def test_a_line_of_work_says_what_its_hours_come_from() -> None:
    work = [
        {"what": "Edges", "operation": "edge", "per": "edge"},
        {"what": "Legs", "hours": 0.2, "per": "each", "quantity": 3},
        {"what": "Sand", "hours": 1.5, "per": "m2_outside", "only": ["bass"]},
        {"what": "Whatever comes", "operation": "head", "per": "hour", "quantity": 2},
    ]
    lines = sheet({"work": work}).chosen.lines
    told = [line(lines, what).basis for what in ("Edges", "Legs", "Sand", "Whatever")]
    assert told == ["14 edges at 0.5 h", "3 at 0.2 h", "0.713 m2 at 1.5 h", "2 hours at 1 h"]


def test_every_fault_comes_at_once() -> None:
    parts = worked.plan_tables()["part"]
    with pytest.raises(FileError, match=r"and 1 more") as caught:
        sheet({"work": [{"what": "S", "operation": "spray", "per": "kit"}], "part": [parts[1] | {"sheet": "900x300"}]})
    assert [p.column for p in caught.value.problems] == ["work 1 (S).operation", "part 1 (Veneer).sheet"]


def test_a_margin_that_no_price_meets_is_refused() -> None:
    with pytest.raises(RefusedError, match="no price can meet this"):
        sheet(fee=30, margin=90)


# --- what is told ----------------------------------------------------------------------------------------------------


def test_cautions_of_the_margin_scheme_stand_only_beside_it() -> None:
    margin = route(sheet(), "margin")
    assert {caution.code for caution in margin.cautions} == {
        "margin_totals", "margin_invoice", "margin_new_shell", "margin_heavy", "margin_several", "margin_dress"
    }  # fmt: skip
    assert not set(margin.cautions) & set(sheet().cautions)
    assert set(margin.cautions) <= set(sheet(route="margin").cautions)


def test_a_light_restoration_of_one_donor_has_only_the_scheme_s_own_cautions() -> None:
    drums = worked.plan_tables()["drum"][:4]
    work = [{"what": "Clean", "per": "kit", "hours": 1}]
    made = sheet({"drum": drums, "donor": donors(series="Inishmore")[:1], "surplus": [], "work": work, "part": []})
    assert {caution.code for caution in route(made, "margin").cautions} == {"margin_totals", "margin_invoice"}


@pytest.mark.parametrize(
    ("what", "code"),
    [("Strip old paint", "paint"), ("Sand the shells", "dust"), ("Remove wrap", "heat"), ("Spray lacquer", "paint")],
)
def test_workplace_cautions_stand_where_such_work_is_done(what: str, code: str) -> None:
    plain = {"work": [{"what": "Supply foil around the hedge", "per": "kit", "hours": 1}], "part": []}
    risky = {"work": [{"what": what, "per": "kit", "hours": 1}], "part": []}
    assert code in codes(sheet(risky))
    assert not {"dust", "paint", "heat"} & codes(sheet(plain))


def test_timber_is_told_for_exports_and_for_raw_veneer() -> None:
    tax = worked.shop().tax
    assert tax is not None
    at_home = worked.shop().model_copy(update={"tax": tax.model_copy(update={"destinations": {}})})
    plain = worked.plan(work=[{"what": "Clean", "per": "kit", "hours": 1}], part=[])
    assert "timber" in codes(cost_sheet(plain, worked.shop()))
    assert "timber" not in codes(cost_sheet(plain, at_home))
    assert "timber" in codes(cost_sheet(worked.plan(), at_home))


def test_an_import_says_what_its_price_leaves_out() -> None:
    assert any("Donor A is imported" in text for text in texts(sheet({"donor": donors(bought_from="import")}).cautions))


# --- properties ------------------------------------------------------------------------------------------------------

prices = st.decimals(min_value=0, max_value=900, places=2)


@st.composite
def plans(draw: Any) -> dict[str, Any]:
    """Plans with random prices, VAT words, hours and leftovers, whose margin scheme is open."""
    base = worked.plan_tables()
    made = []
    for donor, surplus in zip(base["donor"], base["surplus"], strict=True):
        price = surplus["value"] + 6 * 15 + float(draw(prices))
        made.append(donor | {"price": price, "freight": draw(prices), "pieces": draw(st.integers(4, 6)), "spare": 15})
    words = st.sampled_from(["included", "excluded"])
    parts = [p | {"each": draw(prices), "vat": draw(words)} for p in base["part"]]
    sent = {"what": "Chrome", "per": "hoop", "each": draw(prices), "vat": draw(words)}
    hours = {"what": "Sand", "per": "m2_outside", "hours": draw(st.decimals(min_value=0, max_value=3, places=2))}
    return base | {"donor": made, "part": parts, "work": [*base["work"], sent, hours]}


@settings(max_examples=60)
@given(plans(), st.integers(1, 7), st.sampled_from(["full", "margin", "none"]), st.integers(0, 27))
def test_lines_add_up_to_the_cent(plan: dict[str, Any], pieces: int, name: str, rate: int) -> None:
    made = cost_sheet(worked.plan(**plan, route=name), worked.shop(vat_rate=rate), pieces)
    assert made.route == name
    known = [row.net for row in made.chosen.lines if row.net is not None]
    assert sum(known) == made.net_cost == sum(sub.net for sub in made.subtotals())
    for row in made.chosen.lines:
        assert row.net is not None
        assert row.unit_price is not None
        assert row.net == cents(row.net) == cents(row.quantity * row.unit_price)


@settings(max_examples=40)
@given(plans(), st.sampled_from(["full", "margin", "none"]))
def test_the_exact_cost_is_the_sheet_without_rounding(plan: dict[str, Any], name: str) -> None:
    made = cost_sheet(worked.plan(**plan, route=name), worked.shop())
    exact = exact_cost(made.charges, made.terms, made.route, made.contingency, {})
    assert abs(exact - made.net_cost) <= Decimal("0.006") * len(made.chosen.lines)
    assert abs(purchase_price(made.apportioned) - made.chosen.purchase) <= Decimal("0.01")


# --- edges -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("vat", "net"), [("included", "900.00"), ("excluded", "1107.00")])
def test_work_sent_out_is_net_of_the_vat_it_was_stated_with(vat: str, net: str) -> None:
    made = sheet({"work": [{"what": "Chrome", "per": "kit", "each": 1107, "vat": vat}]})
    assert line(made.chosen.lines, "Chrome").net == Decimal(net)  # 1107 / 1.23
    gross = {"included": "1107.00", "excluded": "1361.61"}[vat]
    exempt = sheet({"work": [{"what": "Chrome", "per": "kit", "each": 1107, "vat": vat}], "route": "none"})
    assert line(exempt.chosen.lines, "Chrome").net == Decimal(gross)


def test_whether_sheets_are_the_fewest_is_said_beside_their_cost_and_in_the_buying_list() -> None:
    made = sheet()
    (bought,) = [row for row in made.quantities if row.what == "Veneer"]
    (veneer,) = [row for row in made.chosen.lines if row.what == "Veneer" and row.group is Group.PARTS]
    assert (bought.quantity, bought.unit) == (veneer.quantity, "sheet 2440x1220")
    assert bought.note == veneer.basis == "proven fewest, cut in shelves"
    assert sheet_note(Nesting(3, 2)) == "not proven fewest: 2 at least, cut in shelves"


def test_a_line_for_drums_that_are_not_built_yet_costs_nothing() -> None:
    extra = {"what": "Case of the last floor tom", "per": "kit", "each": 80, "only": ["new"]}
    plan = worked.plan(part=[*worked.plan_tables()["part"], extra])
    whole, six = cost_sheet(plan, worked.shop()), cost_sheet(plan, worked.shop(), 6)
    assert line(whole.chosen.lines, "Case of").net == 80
    assert not [row for row in six.chosen.lines if row.what.startswith("Case of")]
    assert six.net_cost == cost_sheet(worked.plan(), worked.shop(), 6).net_cost
