"""An older copy of the record was put back: the phone notices, and what it sent since comes in again, once."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.management import call_command
from django.utils import timezone

from gear.ledger import outside
from gear.models import Entry, GivenAnswer, ItemState, Photo, Submission
from gear.queries import answer, question
from tests.browser.conftest import PHONE
from tests.browser.trucking import asked, emptied, enrolled, run, waiting
from tests.inspections.fielding import good_pair, truck

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.both_databases]

DROPPED_WITH_PHOTO = """
  const canvas = new OffscreenCanvas(40, 30);
  canvas.getContext('2d').fillRect(0, 0, 20, 30);
  const photo = await import(`${document.documentElement.dataset.static}photo.js`);
  const small = await photo.madeSmall(new File([await canvas.convertToBlob({type: 'image/jpeg'})], 'a.jpg'));
  const record = await queue.add('event', {item: values.no, event: 'dropped', note: 'from the bucket'});
  await photo.keepPhoto(small, record.id);"""
PHOTOS_SENT = """const photo = await import(`${document.documentElement.dataset.static}photo.js`);
  while ((await store.all('photos')).length) {
    await photo.sendPhotos();
    await new Promise((done) => setTimeout(done, 50));
  }"""
KEPT = "return (await store.all('delivered')).map((one) => one.from).sort();"


@pytest.fixture
def glove(cast):
    return good_pair(truck(), tested_on=timezone.localdate() - timedelta(days=30))[0]


@pytest.fixture
def phone(open_page, sign_in, live_server, glove, settings, tmp_path):
    settings.DATA_DIR = tmp_path
    page = open_page(viewport=PHONE)
    sign_in(page, "dev")
    enrolled(page, live_server.url)
    return page


def set_back_to_yesterday(item, past_the_guards, state):
    """The whole machine as it was before the phone sent anything, its list of seals included."""
    outside.list_file().unlink()
    for table in ("gear_photo", "gear_givenanswer", "gear_submission", "gear_seal"):
        past_the_guards(f"DELETE FROM {table}")  # noqa: S608
    past_the_guards(
        "DELETE FROM gear_entry WHERE item_id = %s AND position > %s", item.pk, state["entry_count"]
    )
    ItemState.objects.filter(item=item).update(**state)


def test_what_a_restore_lost_comes_in_again_from_the_phone(phone, glove, cast, past_the_guards):
    state = ItemState.objects.filter(item=glove).values().get()
    no = glove.item_no
    assert asked(phone, no)[0][1] == "good"
    run(phone, DROPPED_WITH_PHOTO, no=no)
    emptied(phone)
    run(phone, PHOTOS_SENT)
    call_command("seal_ledger")
    assert run(phone, "return data.refresh();") == {"ok": True}  # it holds that seal now
    sent = Entry.objects.get(item=glove, kind="event")
    answers, photo = (
        set(GivenAnswer.objects.exclude(device="").values_list("pk", flat=True)),
        Photo.objects.get(),
    )
    assert answer(no, question()).verdict == "stop"
    assert run(phone, KEPT) == ["photos", *["queue"] * (1 + len(answers))]

    set_back_to_yesterday(glove, past_the_guards, state)
    found = answer(no, question())
    assert (found.verdict, found.reasons) == ("good", ()), "the record by itself knows of nothing"
    assert run(phone, "return data.refresh();") == {"ok": True}
    assert answer(no, question()).verdict == "unknown", "the seal that the phone holds is missing"
    assert asked(phone, no)[-1][1] != "good"
    emptied(phone)
    run(phone, PHOTOS_SENT)
    again = Entry.objects.get(item=glove, kind="event")
    assert (again.pk, again.occurred_at, again.facts) == (sent.pk, sent.occurred_at, sent.facts)
    assert answers <= set(GivenAnswer.objects.values_list("pk", flat=True))
    assert (Photo.objects.get().pk, Photo.objects.get().sha256) == (photo.pk, photo.sha256)

    # Somebody answers for the gap: all is offered once more, and nothing counts twice.
    call_command("confirm_restore", "--by", "pim", "--reason", "the disk died; every phone was opened")
    assert run(phone, "return data.refresh();") == {"ok": True}
    emptied(phone)
    assert Entry.objects.filter(item=glove, kind="event").count() == 1
    assert Submission.objects.filter(act="field.event").count() == 1
    assert answer(no, question()).verdict == "stop"
    assert waiting(phone) == []


def test_what_was_sent_is_kept_for_thirty_days_and_a_device_without_room_lets_it_go(phone, glove):
    def pruned(days):
        run(
            phone,
            """const delivered = await import(`${document.documentElement.dataset.static}delivered.js`);
            await delivered.pruned(Date.now() + values.days * 86400000);""",
            days=days,
        )
        return run(phone, KEPT)

    run(phone, "await queue.add('event', {item: values.no, event: 'dropped'});", no=glove.item_no)
    emptied(phone)
    assert pruned(29.9) == ["queue"]
    assert pruned(30.2) == ["queue"], "once a day"
    assert pruned(31) == []
    # There is no room: the server has it, so it goes, and is not sent for ever.
    phone.evaluate(
        """() => {
          const put = IDBObjectStore.prototype.put;
          IDBObjectStore.prototype.put = function (row) {
            if (this.name === 'delivered') throw new DOMException('full', 'QuotaExceededError');
            return put.call(this, row);
          };
        }"""
    )
    run(phone, "await queue.add('event', {item: values.no, event: 'dropped'});", no=glove.item_no)
    emptied(phone)
    assert run(phone, KEPT) == []
    assert Entry.objects.filter(item=glove, kind="event").count() == 2
