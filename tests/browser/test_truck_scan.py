"""At the truck, in a real browser: a label is read by camera, picture, hand scanner or hand; nothing else is taken."""

import random
import re

import pytest
from PIL import Image
from playwright.sync_api import expect

from gear.rules import codes
from tests.browser.conftest import FAKE_CAMERA, PHONE, QUIET, chromium
from tests.browser.truck import own_phone

ONE, OTHER = (codes.new_code(random.Random(number)) for number in (71, 72))
BASE = "https://gear.penhallow.example"

pytestmark = pytest.mark.django_db(transaction=True)


def picture_of(*payloads: str) -> Image.Image:
    """A frame of a camera with these squares side by side."""
    import qrcode

    frame = Image.new("RGB", (1280, 720), (120, 120, 110))
    for place, payload in enumerate(payloads):
        square = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_Q, border=4)
        square.add_data(payload)
        square.make(fit=True)
        frame.paste(
            square.make_image().get_image().convert("RGB").resize((420, 420)), (110 + 640 * place, 150)
        )
    return frame


@pytest.fixture
def see(playwright, live_server, cast, tmp_path):
    """`see(payload, ...)`: the client on a phone whose camera has these squares in view."""
    opened = []

    def open_(*payloads):
        film = tmp_path / f"{len(opened)}.mjpeg"
        picture_of(*payloads).save(film, "JPEG", quality=90, subsampling=2)
        arguments = [*QUIET, *FAKE_CAMERA, f"--use-file-for-fake-video-capture={film}"]
        opened.append(playwright.chromium.launch(executable_path=chromium(), args=arguments))
        page = opened[-1].new_context(permissions=["camera"], viewport=PHONE).new_page()
        own_phone(page, live_server.url, cast.dev)
        page.get_by_role("link", name="Scan", exact=True).click()
        return page

    yield open_
    for browser in opened:
        browser.close()


def address_of(code: str, settings) -> str:
    return f"{settings.BASE_URL}/t/{code}".upper()


# What is a code


def read_in_browser(page, texts: list[str]) -> list[str | None]:
    return page.evaluate(
        """async ([texts, base]) => {
             const { read } = await import(`${document.documentElement.dataset.static}code.js`);
             return texts.map((text) => read(text, base).code);
           }""",
        [texts, BASE],
    )


def wrong_by_one(code: str) -> set[str]:
    """Every code with one other symbol, and every one with two neighbours swapped."""
    other = {code[:at] + symbol + code[at + 1 :] for at in range(codes.LENGTH) for symbol in codes.ALPHABET}
    swapped = {code[:at] + code[at + 1] + code[at] + code[at + 2 :] for at in range(codes.LENGTH - 1)}
    return (other | swapped) - {code}


def variants(code: str) -> list[str]:
    """The ways in which a good code comes: typed in any grouping and case, or as the address on a label."""
    grouped = codes.grouped(code)
    return [
        code,
        grouped,
        grouped.lower(),
        f"  {grouped.replace('-', ' ')}\n",
        f"{BASE}/t/{code}",
        f"{BASE}/T/{code}/".upper(),
    ]


HOSTILE = [
    "",
    " ",
    "javascript:alert(1)",
    f"javascript:{ONE}",
    f"tel:{ONE}",
    f"https://elsewhere.example/t/{ONE}",
    f"https://gear.penhallow.example.elsewhere.example/t/{ONE}",
    f"https://gear.penhallow.example@elsewhere.example/t/{ONE}",
    f"http://gear.penhallow.example/t/{ONE}",
    f"{BASE}:8443/t/{ONE}",
    f"{BASE}/t/{ONE}/more",
    f"{BASE}/t/{ONE}?next=https://elsewhere.example",
    f"{BASE}/t/{ONE}#x",
    f"{BASE}/items/{ONE}",
    f"//elsewhere.example/t/{ONE}",
    f"/t/{ONE}",
    "\x00\x01\x02" * 4,
    f"{ONE}\x00",
    f"{ONE}\u200b",
    ONE.translate(str.maketrans("ACE", "\u0410\u0421\u0415")) + "\u0421",  # Cyrillic look-alikes
    "\U0001f9e4" * 11,
    "2" * 10_000,
    ONE * 1_000,
    ONE[:-1],
    ONE + "2",
]


def test_a_code_is_read_as_the_server_reads_it_and_no_error_of_one_symbol_passes(page, live_server):
    page.goto(f"{live_server.url}/truck/")
    many = [codes.new_code(random.Random(number)) for number in range(300)]
    errors = sorted(wrong_by_one(many[0]) | wrong_by_one(many[1]))
    good = [variant for code in many for variant in variants(code)]
    texts = [*good, *errors, *HOSTILE]
    read = read_in_browser(page, texts)
    assert all(read[: len(good)])
    assert not any(read[len(good) :])
    assert read == [codes.normalise(text, base_url=BASE).code for text in texts]


# Reading a label


def test_the_camera_reads_a_label_and_is_switched_off_when_its_screen_is_left(see, settings):
    page = see(address_of(ONE, settings))
    page.wait_for_url(re.compile(f"#answer/{ONE}$"))
    page.get_by_role("link", name="Scan next").click()
    page.wait_for_url(re.compile(f"#answer/{ONE}$"))  # still in view: read again
    assert page.evaluate("() => document.querySelector('video')") is None


def test_two_labels_in_view_are_asked_about(see, settings):
    page = see(address_of(ONE, settings), address_of(OTHER, settings))
    expect(page.get_by_text("Two labels are in view. Which one is meant?")).to_be_visible()
    assert page.url.endswith("/truck/#scan")
    page.get_by_role("link", name=codes.grouped(OTHER)).click()
    page.wait_for_url(re.compile(f"#answer/{OTHER}$"))


def test_a_square_from_elsewhere_is_unknown_and_leads_nowhere(see):
    page = see("https://elsewhere.example/t/" + ONE)
    expect(page.locator(".said .word")).to_have_text("CAN'T SAY. DO NOT USE")
    expect(page.get_by_text("This square is not a label of this tool room.")).to_be_visible()
    assert page.url.endswith("/truck/#scan")


def test_without_a_camera_there_are_a_picture_a_hand_scanner_and_the_field(
    open_page, live_server, cast, settings, tmp_path
):
    page = own_phone(open_page(viewport=PHONE), live_server.url, cast.dev)
    page.get_by_role("link", name="Scan", exact=True).click()  # nobody allowed it the camera
    expect(page.get_by_text("Type the code, or")).to_be_visible()
    expect(page.locator("video")).to_be_hidden()

    picture, nothing = tmp_path / "label.png", tmp_path / "nothing.png"
    picture_of(address_of(ONE, settings)).save(picture)
    picture_of().save(nothing)
    page.get_by_label("Or take a photo of the square").set_input_files(nothing)
    expect(page.get_by_text("No square could be read in this picture.")).to_be_visible()
    page.get_by_label("Or take a photo of the square").set_input_files(picture)
    page.wait_for_url(re.compile(f"#answer/{ONE}$"))

    page.get_by_role("link", name="Scan next").focus()
    page.keyboard.type(address_of(OTHER, settings))  # a hand scanner, with the focus on a link
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(f"#answer/{OTHER}$"))

    page.get_by_role("link", name="Scan next").click()
    page.get_by_label("Code on the label").fill(ONE[:-1] + OTHER[-1])
    page.keyboard.press("Enter")
    expect(page.get_by_text("A symbol of this code is wrong.")).to_be_visible()
    page.get_by_label("Code on the label").fill(codes.grouped(ONE).lower())
    page.get_by_role("button", name="Check").click()
    page.wait_for_url(re.compile(f"#answer/{ONE}$"))
