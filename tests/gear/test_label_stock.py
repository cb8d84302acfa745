"""What is printed is chosen, shown, kept, and told again; printing again needs a reason."""

import random
import re
from datetime import timedelta
from uuid import uuid4

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from gear import labels
from gear.actions.acting import Act
from gear.actions.delivery import receive_batch
from gear.actions.printing import PrintRefused, print_labels
from gear.actions.relabelling import relabel
from gear.actions.submissions import once
from gear.ledger import verify
from gear.models import ItemState, LabelPrint, PrintedLabel, Refusal
from gear.permissions import NotAllowed
from gear.queries import labelling
from gear.rules import codes
from gear.rules.delivery import Delivery
from tests import builders
from tests.gear.label_pdfs import pages_of, squares_on

pytestmark = pytest.mark.django_db
PAGE = "/labels/"
RNG = random.Random(9)


@pytest.fixture
def orla(client, cast):
    client.force_login(cast.orla)
    return client


def labelled(*numbers):
    return [builders.blanket(number, label=codes.new_code(RNG)) for number in numbers]


def in_force(item):
    return ItemState.objects.get(item=item).label


def chosen(client, **query):
    return client.get(PAGE, {"which": "items", **query})


def form_of(page):
    """The hidden form that prints what is shown."""
    return dict(
        re.findall(
            r'<input type="hidden" name="(\w+)" value="([^"]*)"', page[page.index('class="preview"') :]
        )
    )


# Kept


def test_a_print_is_kept_with_who_when_what_and_on_what(cast):
    first, second = labelled("B-1", "B-2")
    wanted = [in_force(second), in_force(first)]
    print_labels(wanted, stock="a4_30", start=7, copies=2, shift=(5, -3), act=Act(cast.orla))
    row = LabelPrint.objects.get()
    assert (row.by, row.stock, row.start, row.copies, row.shift_x, row.shift_y) == (
        cast.orla,
        "a4_30",
        7,
        2,
        5,
        -3,
    )
    assert row.codes == wanted
    assert verify.verify() == []


def test_never_printed_is_what_no_print_holds(cast):
    first, second = labelled("B-1", "B-2")
    rejected, _none = labelled("B-3")[0], builders.blanket("B-4")
    builders.happened(rejected, "rejected", reason="cut")
    assert [one.item_no for one in labelling.never_printed()] == ["B-1", "B-2"]
    print_labels([in_force(first)], stock="a4_30", act=Act(cast.orla))
    assert [one.item_no for one in labelling.never_printed()] == ["B-2"]
    relabel(first, reason="washed off", act=Act(cast.orla))
    assert [one.item_no for one in labelling.never_printed()] == ["B-1", "B-2"], (
        "the new label was never printed"
    )
    assert second.item_no == "B-2"


def test_printing_again_needs_a_reason(cast):
    (item,) = labelled("B-1")
    code = in_force(item)
    print_labels([code], stock="a4_30", act=Act(cast.orla))
    with pytest.raises(PrintRefused) as refused:
        print_labels([code], stock="a4_30", act=Act(cast.orla))
    assert (refused.value.code, refused.value.field) == ("WHY_AGAIN", "reason")
    assert Refusal.objects.get().act == "print_labels"
    print_labels([code], stock="roll_57x32", reason="worn", act=Act(cast.orla))
    assert PrintedLabel.objects.filter(label=code).count() == 2


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"stock": "napkin"}, "NO_SUCH_STOCK"),
        ({"start": 0}, "START_NOT_ON_SHEET"),
        ({"start": 31}, "START_NOT_ON_SHEET"),
        ({"stock": "bag_tag", "start": 2}, "START_NOT_ON_SHEET"),
        ({"copies": 0}, "COPIES_OUT_OF_RANGE"),
        ({"copies": 11}, "COPIES_OUT_OF_RANGE"),
        ({"shift": (51, 0)}, "SHIFT_TOO_LARGE"),
        ({"shift": (0, -51)}, "SHIFT_TOO_LARGE"),
    ],
)
def test_what_cannot_be_printed_is_refused(cast, changes, code):
    (item,) = labelled("B-1")
    with pytest.raises(PrintRefused) as refused:
        print_labels([in_force(item)], **{"stock": "letter_30", "act": Act(cast.orla), **changes})
    assert refused.value.code == code
    assert not LabelPrint.objects.exists()


@pytest.mark.parametrize("who", ["dev", "bertrand", "ines", "halvard", "pim"])
def test_only_a_clerk_prints(cast, who):
    (item,) = labelled("B-1")
    with pytest.raises(NotAllowed):
        print_labels([in_force(item)], stock="letter_30", act=Act(getattr(cast, who)))


# The page


def test_what_is_named_is_shown_and_printed_once(orla, cast):
    first, second = labelled("B-1", "B-2")
    shown = chosen(orla, items=f"B-2\n{codes.grouped(in_force(first))}\nB-2", start="4")
    page = shown.content.decode()
    assert "2 labels, sheets: 1" in page
    listed = re.findall(r"<code>(.*?)</code>", page)
    assert listed == [codes.grouped(in_force(second)), codes.grouped(in_force(first))]
    form = form_of(page)
    for _twice in range(2):
        assert orla.post(PAGE, form).url == f"/labels/prints/{form['id']}/"
    row = LabelPrint.objects.get()
    assert (str(row.pk), row.start, row.codes) == (form["id"], 4, [in_force(second), in_force(first)])
    told = orla.get(f"/labels/prints/{row.pk}/").content.decode()
    assert "may begin at position 6" in told
    assert f"/labels/prints/{row.pk}/sheets.pdf" in told


def test_each_way_of_choosing(orla, cast):
    left, right = (
        builders.glove("G-1", label=codes.new_code(RNG)),
        builders.glove("G-2", hand="R", label=codes.new_code(RNG)),
    )
    builders.gather(left, right, set_no="P-7")
    rack = builders.holder("shelf", "Rack 4")
    lying = builders.blanket("B-9", label=codes.new_code(RNG), at=rack)
    batch, act = Delivery("hood", 2, "H-01", shared={"class": "3"}), Act(cast.orla)
    once(act.id, act="receive_batch", body={}, by=cast.orla,
         work=lambda: {"items": [one.item_no for one in receive_batch(batch, act=act)]})  # fmt: skip

    def numbers(**query):
        page = orla.get(PAGE, query).content.decode()
        return re.findall(r'<th scope="row"><a href="/items/([^/]+)/"', page)

    assert numbers(which="set", set_no="P-7") == ["G-1", "G-2"]
    assert numbers(which="holder", holder=rack.pk) == [lying.item_no]
    assert numbers(which="batch", batch=act.id) == ["H-01", "H-02"]
    assert numbers(which="never") == ["B-9", "G-1", "G-2", "H-01", "H-02"]
    assert numbers(which="never", stock="set_tag") == ["G-1", "G-2"]


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ({"items": ""}, "Name at least one item."),
        ({"items": "B-404"}, "Not one item each: B-404."),
        ({"which": "set", "set_no": "P-404"}, "There is no set P-404 in the book."),
        ({"which": "batch", "batch": "nonsense"}, "Select a valid choice."),
        ({"which": "holder"}, "Say which."),
        ({"items": "B-1", "start": "31"}, "less than or equal to 30"),
        ({"items": "B-1", "shift_x": "9.0"}, "At most 5 mm either way."),
        ({"items": "B-1", "stock": "napkin"}, "Select a valid choice."),
    ],
)
def test_what_cannot_be_chosen_is_told_beside_its_field(orla, query, sentence):
    labelled("B-1")
    response = chosen(orla, **query)
    assert response.status_code == 422
    assert sentence in response.content.decode()


def test_an_address_that_is_too_long_refuses_the_stock(orla, settings):
    settings.BASE_URL = "https://" + "gear." * 26 + "example"
    labelled("B-1")
    page = chosen(orla, items="B-1").content.decode()
    assert "under 3 dots to a module at 200 dpi" in page
    assert "1 label" in chosen(orla, items="B-1", stock="bag_tag").content.decode()


def test_a_second_print_is_marked_and_asks_why(orla, cast):
    (item,) = labelled("B-1")
    print_labels([in_force(item)], stock="letter_30", act=Act(cast.orla))
    page = chosen(orla, items="B-1").content.decode()
    assert "1 of them was printed before." in page
    refused = orla.post(PAGE, form_of(page))
    assert refused.status_code == 422
    assert "Say why they are printed again" in refused.content.decode()
    sent = {**form_of(refused.content.decode()), "reason": "torn"}
    assert orla.post(PAGE, sent).status_code == 302
    log = orla.get("/labels/log/").content.decode()
    assert "torn" in log


@pytest.mark.one_database
def test_the_pdf_is_of_the_day_of_its_print_and_leaves_void_labels_out(orla, cast, settings, tmp_path):
    items = labelled("B-1", "B-2", "B-3")
    wanted = [in_force(one) for one in items]
    row = print_labels(wanted, stock="letter_30", act=Act(cast.orla))
    relabel(items[1], reason="copied", act=Act(cast.orla))
    response = orla.get(f"/labels/prints/{row.pk}/sheets.pdf")
    assert response["Content-Type"] == "application/pdf"
    (page,) = pages_of(response.content, tmp_path)
    found = squares_on(page)
    assert [text for text, _x, _y in found] == [
        labels.address(code, base_url=settings.BASE_URL) for code in (wanted[0], wanted[2])
    ]
    assert found[1][1] - found[0][1] > 100, "the place of the void label stays empty"
    with time_machine.travel(timezone.now() + timedelta(days=2)):
        orla.force_login(cast.orla)
        late = orla.get(f"/labels/prints/{row.pk}/sheets.pdf")
        assert late.status_code == 410
        assert "Print them again" in late.content.decode()


def test_the_log_tells_every_label_that_was_replaced(orla, cast, client):
    (item,) = labelled("B-1")
    old = in_force(item)
    relabel(item, reason="found on another blanket", act=Act(cast.orla))
    for name in ("orla", "ines", "halvard", "pim"):
        client.force_login(getattr(cast, name))
        page = client.get("/labels/log/").content.decode()
        for words in ("B-1", old, in_force(item), "found on another blanket", cast.orla.name):
            assert words in page


def test_lists_need_as_many_queries_for_many_as_for_few(orla, cast):
    def queries_for(count):
        made = labelled(*(f"B-{uuid4().hex[:8]}" for _each in range(count)))
        print_labels([in_force(one) for one in made], stock="letter_30", act=Act(cast.orla))
        for one in made:
            relabel(one, reason="copied", act=Act(cast.orla))
        found = []
        for address in (PAGE + "?which=never", "/labels/log/"):
            with CaptureQueriesContext(connection) as caught:
                assert orla.get(address).status_code == 200
            found.append(len(caught))
        return found

    queries_for(1)
    assert queries_for(2) == queries_for(12)


@pytest.mark.one_database
def test_sixty_pairs_are_received_labelled_and_all_120_squares_are_read(orla, cast, settings, tmp_path):
    shared = {"class": "2", "size": "10", "length_mm": "360", "maker": "Northbay"}
    batch, act = (
        Delivery("glove", 60, "G-0901", shared=shared, pieces="pairs", set_no="P-0401"),
        Act(cast.orla),
    )
    items = receive_batch(batch, act=act)
    row = print_labels([in_force(one) for one in items], stock="letter_30", act=Act(cast.orla))
    response = orla.get(f"/labels/prints/{row.pk}/sheets.pdf")
    pages = pages_of(response.content, tmp_path)
    assert len(pages) == 4
    found = [text for page in pages for text, _x, _y in squares_on(page)]
    assert found == [labels.address(in_force(one), base_url=settings.BASE_URL) for one in items]
    assert len(set(found)) == 120
