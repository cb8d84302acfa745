"""The recall page: what a notice names, what may belong, and all of it held as one act, from a browser."""

import re
from datetime import date
from io import BytesIO
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pypdf import PdfReader

from gear import queries
from gear.models import Entry, HoldBatch, Item, ItemState
from gear.pdf import NotSet
from gear.views import whereabouts
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def book(cast):
    """Five blankets of one lot in different hands, and three that only look like it."""
    cast.crew.phone = "555-0107"
    cast.crew.save()
    dev, truck = builders.holder("person", "Dev"), builders.holder("truck", "T-12")
    made = {"maker": "Corran Rubber", "model": "CR-2", "made_on": date(2024, 2, 15)}
    for number, place in (("B-1", dev), ("B-2", dev), ("B-3", truck), ("B-4", None), ("B-5", None)):
        builders.blanket(number, at=place, lot="7A", **made)
    builders.blanket("B-6", lot="7B", **made)
    builders.blanket("B-7", lot="", **made)
    builders.blanket("B-8", lot="7A", **{**made, "made_on": None})
    builders.happened(Item.objects.get(item_no="B-5"), "rejected", reason="cut")
    builders.happened(Item.objects.get(item_no="B-5"), "destroyed", reason="cut up", witness="ines")
    builders.tested(*Item.objects.exclude(item_no="B-5"))


def browser(person):
    client = Client()
    client.force_login(person)
    return client


def text(answer):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def ask(client, **stated):
    return client.get(reverse("recall"), stated)


def send(client, page, *, reason="maker's notice of 9 September", query=None, **changed):
    form = {
        name: re.search(rf'name="{name}" value="([^"]*)"', page.content.decode())[1]
        for name in ("id", "shown")
    }
    address = f"{reverse('recall')}?{query if query is not None else page.wsgi_request.GET.urlencode()}"
    return client.post(address, {**form, "reason": reason, **changed})


def held():
    return set(Entry.objects.filter(kind="held").values_list("item__item_no", flat=True))


def test_it_asks_what_the_notice_names_and_lists_nothing_before(cast, book):
    page = text(ask(browser(cast.ines)))
    assert "What does the notice name?" in page
    assert "belong to it" not in page.replace("Show what belongs to it", "")


def test_a_notice_of_everything_is_refused_in_words(cast, book):
    answer = ask(browser(cast.ines), without="lot")
    assert answer.status_code == 400
    assert "Without any, it would be everything" in text(answer)
    backwards = ask(browser(cast.ines), made_from="2024-03-01", made_to="2024-02-01")
    assert backwards.status_code == 400
    assert "lies before the first one" in text(backwards)


def test_it_lists_by_crew_and_holder_with_whom_to_call_and_tells_what_may_belong(cast, book):
    page = text(ask(browser(cast.ines), maker="corran rubber", lot="7a"))
    assert "4" in page
    assert "5 pieces belong to it." in page
    assert "3 could be used right now." in page
    assert "Recall: maker corran rubber, lot 7a" in page
    assert "1 piece agrees in all that it states, but has no lot on record and may belong to it." in page
    assert "Left out: 1 piece, destroyed" in page
    assert "Crew 7, Harbour depot (3 pieces) Call bertrand: 555-0107" in page
    assert page.index("Dev (2)") < page.index("Truck T-12 (1)") < page.index("Shelf The shelf")
    for number in ("B-6", "B-7", "B-5"):
        assert f"{number} " not in page


def test_what_lacks_a_field_is_taken_in_by_a_tick(cast, book):
    client = browser(cast.ines)
    plain = text(ask(client, lot="7A", made_from="2024-02-01", made_to="2024-02-29"))
    assert "4 pieces belong to it." in plain
    assert "1 piece agrees in all that it states, but has no date of manufacture on record" in plain
    ticked = ask(client, lot="7A", made_from="2024-02-01", made_to="2024-02-29", without="made_on")
    assert "5 pieces belong to it." in text(ticked)
    assert "or date of manufacture not stated" in text(ticked)
    send(client, ticked)
    assert held() == {"B-1", "B-2", "B-3", "B-4", "B-8"}


def test_only_what_matches_is_held_and_the_page_of_the_batch_follows(cast, book):
    client = browser(cast.orla)
    answer = send(client, ask(client, lot="7A", made_from="2024-02-15", made_to="2024-02-15"))
    batch = HoldBatch.objects.get()
    assert answer.url == reverse("batch", args=[batch.number])
    assert held() == {"B-1", "B-2", "B-3", "B-4"}
    assert batch.reason == "Recall: lot 7A, made 2024-02-15 to 2024-02-15: maker's notice of 9 September"
    assert batch.asked == {"lot": ["7A"], "made_from": ["2024-02-15"], "made_to": ["2024-02-15"]}
    assert queries.answer("B-1", queries.question()).verdict == "stop"
    told = text(client.get(answer.url))
    assert "4 pieces are on hold as H-0001." in told
    assert "4 of 4 pieces still on hold." in told


def test_sent_twice_it_holds_once(cast, book):
    client = browser(cast.orla)
    page = ask(client, lot="7A")
    first, second = send(client, page), send(client, page)
    assert first.url == second.url
    assert HoldBatch.objects.count() == 1
    assert Entry.objects.filter(kind="held").count() == 5


def test_a_list_that_changed_meanwhile_holds_nothing_and_is_shown_again(cast, book):
    client = browser(cast.orla)
    page = ask(client, lot="7A")
    builders.blanket("B-9", lot="7A")
    answer = send(client, page)
    assert answer.status_code == 422
    assert "has changed since it was shown" in text(answer)
    assert "6 pieces belong to it." in text(answer)
    assert held() == set()
    again = send(client, answer, query="lot=7A", id=str(uuid4()))
    assert again.status_code == 302
    assert len(held()) == 6


def test_a_reason_is_needed(cast, book):
    client = browser(cast.orla)
    answer = send(client, ask(client, lot="7A"), reason=" ")
    assert answer.status_code == 422
    assert held() == set()


@pytest.mark.parametrize("name", ["halvard", "pim"])
def test_who_may_only_read_sees_the_list_and_no_form(cast, book, name):
    client = browser(getattr(cast, name))
    page = ask(client, lot="7A")
    assert "5 pieces belong to it." in text(page)
    assert "Hold all" not in text(page)
    address = f"{reverse('recall')}?lot=7A"
    assert client.post(address, {"id": str(uuid4()), "shown": "x", "reason": "x"}).status_code == 403
    assert held() == set()


def test_what_is_on_hold_already_is_told(cast, book):
    builders.happened(Item.objects.get(item_no="B-1"), "held", reason="odd smell")
    page = text(ask(browser(cast.orla), lot="7A"))
    assert "1 of them is on hold already and gets this hold as well." in page


# On paper


def test_the_list_on_paper(cast, book):
    answer = browser(cast.ines).get(reverse("recall_pdf"), {"lot": "7A", "made_from": "2024-02-01"})
    assert answer.headers["Content-Type"] == "application/pdf"
    paper = "\n".join(page.extract_text() for page in PdfReader(BytesIO(answer.content)).pages)
    for words in ("Recall: lot 7A, made from 2024-02-01 on", "Page 1 of 1", "Call bertrand: 555-0107", "B-3"):
        assert words in paper
    assert "America/New_York" in paper
    assert "B-6" not in paper


def test_a_paper_that_cannot_be_set_leaves_the_page(cast, book, monkeypatch):
    def breaks(_html):
        raise NotSet("no memory")

    monkeypatch.setattr(whereabouts, "pdf_from", breaks)
    answer = browser(cast.ines).get(reverse("recall_pdf"), {"lot": "7A"})
    assert answer.status_code == 503
    assert "The PDF could not be made." in text(answer)
    assert "5 pieces belong to it." in text(answer)


def test_a_long_list_is_cut_and_says_so_while_every_holder_is_named_and_counted(cast, book, monkeypatch):
    monkeypatch.setattr(whereabouts.listing, "__kwdefaults__", {"about": str, "most": 2})
    page = text(ask(browser(cast.ines), lot="7A"))
    assert "Only 2 of 5 pieces are listed one by one" in page
    assert "B-2" in page
    assert "B-3" not in page
    assert "Truck T-12 (1)" in page
    assert "3 could be used right now." in page


def test_the_number_of_queries_does_not_grow_with_the_pieces(cast, book):
    client = browser(cast.ines)
    ask(client, lot="7A")
    with CaptureQueriesContext(connection) as few:
        ask(client, lot="7A")
    for number in range(40):
        builders.blanket(f"C-{number}", lot="7A")
    with CaptureQueriesContext(connection) as many:
        assert "45 pieces belong to it." in text(ask(client, lot="7A"))
    assert len(many) == len(few)


# The batch's pages


@pytest.fixture
def batch(cast, book):
    client = browser(cast.orla)
    send(client, ask(client, lot="7A"))
    return HoldBatch.objects.get()


def release(client, batch, *, reason="the maker cleared the lot"):
    return client.post(reverse("batch", args=[batch.number]), {"id": str(uuid4()), "reason": reason})


def test_the_list_of_batches_says_by_whom_why_and_how_many_are_still_held(cast, batch):
    page = text(browser(cast.halvard).get(reverse("batches")))
    for words in ("H-0001", "Recall: lot 7A: maker&#x27;s notice of 9 September", "orla", " 5 "):
        assert words in page


def test_another_supervisor_releases_all_of_it(cast, batch):
    client = browser(cast.ines)
    assert "Release all 5 holds" in text(client.get(reverse("batch", args=[batch.number])))
    answer = client.get(release(client, batch).url)
    assert "5 holds of H-0001 were released." in text(answer)
    assert "0 of 5 pieces still on hold." in text(answer)
    assert "5 pieces by ines" in text(answer)
    assert "the maker cleared the lot" in text(answer)
    assert not ItemState.objects.filter(condition="held").exists()


def test_the_one_who_held_is_told_who_may_release(cast, book):
    client = browser(cast.ines)
    page = client.get(send(client, ask(client, lot="7A")).url)
    assert "Another supervisor can release them." in text(page)
    assert "Release all" not in text(page)
    answer = release(client, HoldBatch.objects.get())
    assert answer.status_code == 422
    assert "Ask another supervisor." in text(answer)
    assert ItemState.objects.filter(condition="held").count() == 5


@pytest.mark.parametrize("name", ["orla", "halvard", "pim"])
def test_nobody_else_is_offered_the_release_or_may_send_it(cast, batch, name):
    client = browser(getattr(cast, name))
    assert "Release all" not in text(client.get(reverse("batch", args=[batch.number])))
    assert release(client, batch).status_code == 403


def test_a_reason_is_needed_to_release(cast, batch):
    assert release(browser(cast.ines), batch, reason=" ").status_code == 422
    assert ItemState.objects.filter(condition="held").count() == 5


def test_the_batch_on_paper_lists_what_is_still_held(cast, batch, monkeypatch):
    seen = []
    monkeypatch.setattr(whereabouts, "pdf_from", lambda html: seen.append(html) or b"%PDF-1.7")
    answer = browser(cast.halvard).get(reverse("batch_pdf", args=[batch.number]), {"paper": "a4"})
    assert answer.content == b"%PDF-1.7"
    assert "size: a4" in seen[0]
    for words in ("On hold: batch H-0001", "B-4", "Truck T-12 (1)", "5 pieces as one act"):
        assert words in seen[0]


def test_there_is_no_page_of_a_batch_that_there_is_not(cast):
    assert browser(cast.ines).get(reverse("batch", args=["H-0404"])).status_code == 404
    assert "Nothing was held as one act yet." in text(browser(cast.ines).get(reverse("batches")))
