"""The pages of gear."""

from django.urls import include, path, re_path

from gear.views import (
    acts,
    answer,
    corrections,
    importing,
    item,
    label,
    people,
    places,
    policy,
    receiving,
    rules,
    search,
)

urlpatterns = [
    path("", search.find, name="find"),
    # The square on a label holds the address in capitals; what is typed or read off may be in any case.
    re_path(r"^[tT]/$", answer.ask, name="ask"),
    re_path(r"^[tT]/(?P<code>.+?)/?$", answer.answer, name="answer"),
    path("items/<str:item_no>/", item.item, name="item"),
    path("items/<str:item_no>/label/", label.label, name="label"),
    path("entries/<uuid:pk>/correct/", corrections.correct, name="correct"),
    path("receive/", receiving.receive, name="receive"),
    path("rules/", rules.rules_in_force, name="rules_in_force"),
    path("items/<str:item_no>/do/<slug:verb>/", acts.act, name="act"),
    path("import/", importing.imports, name="import"),
    path("import/gear/", importing.import_gear, name="import_gear"),
    path("people/", people.people_list, name="people"),
    path("people/new/", people.AddPerson.as_view(), name="person_add"),
    path("people/<int:pk>/", people.person, name="person"),
    path("people/<int:pk>/edit/", people.EditPerson.as_view(), name="person_edit"),
    path("people/<int:pk>/password/", people.SetPassword.as_view(), name="person_password"),
    path("people/<int:pk>/pin/", people.SetPin.as_view(), name="person_pin"),
    path("people/<int:pk>/active/", people.SetActive.as_view(), name="person_active"),
    path("my/password/", people.ChangeOwnPassword.as_view(), name="my_password"),
    path("crews/", places.crews, name="crews"),
    path("crews/new/", places.AddCrew.as_view(), name="crew_add"),
    path("crews/<int:pk>/", places.EditCrew.as_view(), name="crew_edit"),
    path("depots/", places.depots, name="depots"),
    path("depots/new/", places.AddDepot.as_view(), name="depot_add"),
    path("depots/<int:pk>/", places.EditDepot.as_view(), name="depot_edit"),
    path("holders/", places.holders, name="holders"),
    path("holders/new/", places.AddHolder.as_view(), name="holder_add"),
    path("holders/<int:pk>/", places.EditHolder.as_view(), name="holder_edit"),
    path("site/", policy.site_policy, name="site_policy"),
    path("site/policy/", policy.ChangePolicy.as_view(), name="site_policy_change"),
    path("site/pack/", policy.AdoptPack.as_view(), name="site_pack_change"),
    path("api/v1/", include("gear.api.urls")),
]
