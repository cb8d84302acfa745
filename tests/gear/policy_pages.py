"""What the tests of the site's rules share: the forms as their pages send them, and what the pages answer."""

import html
from datetime import date

from django.test import Client

from gear.forms.policy import PolicyForm, filled_with
from gear.queries import site_rules
from gear.rules import packs, policy
from tests import builders

TODAY = date(2026, 6, 15)
FIRST_OF_JULY = date(2026, 7, 1)


def signed_in(person):
    client = Client()
    client.force_login(person)
    client.person = person
    return client


def sent(chosen=None, *, effective_from=FIRST_OF_JULY, **changes):
    """The form as the page would send it, for a policy (the shipped one) with some fields changed."""
    values = filled_with(chosen or policy.from_toml())
    form = PolicyForm(pack=packs.load("us_federal"), initial=values)
    filled = {name: form.get_initial_for_field(field, name) for name, field in form.fields.items()}
    filled |= {name: "months" for name in filled if name.endswith(".unit") and not filled[name]}
    filled |= {"effective_from": effective_from.isoformat(), **changes}
    return {name: value for name, value in filled.items() if value not in (None, False, "")}


def confirmed(client, fields, *, address="/site/policy/", **changes):
    confirmation = {
        "step": "confirm",
        "seen": site_rules.version(),
        "reason": "the manual says so",
        "current": f"{client.person.username} keeps a secret",
    }
    return client.post(address, {**fields, **confirmation, **changes})


def errors(answer, form="form"):
    return {
        field: " ".join(html.unescape(str(one)) for one in said)
        for field, said in answer.context[form].errors.items()
    }


def held_blanket(*, tested_on, item_no=None):
    """In the hands of a worker since the day of its test. The pack: 12 months from the test."""
    made = builders.blanket(item_no)
    builders.tested(made, on=tested_on)
    builders.issued(made, on=tested_on)
    return made


def adopt(client, *, pack="thirty_day_gloves 1", effective_from=FIRST_OF_JULY, **changes):
    fields = {"pack": pack, "effective_from": effective_from.isoformat()}
    return confirmed(client, fields, address="/site/pack/", **changes)
