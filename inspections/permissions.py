"""Who may open which route of inspections. Acts are checked in the actions, by gear.permissions.ACTS."""

from __future__ import annotations

from gear.permissions import ACTS, ANYONE, CLERK, EVERYONE, IMPORTERS, OFFICE, WORKING

ROUTES: dict[str, dict[str, frozenset[str]]] = {
    "import_tests": {"GET": IMPORTERS, "POST": IMPORTERS},
    "log_test": {"GET": CLERK, "POST": CLERK},
    "bench_sessions": {"GET": OFFICE, "POST": CLERK},
    "bench_session": {"GET": OFFICE},
    "bench_details": {"GET": CLERK, "POST": CLERK},
    "bench_scan": {"GET": CLERK},
    "bench_rows": {"GET": OFFICE, "POST": CLERK},
    "bench_row": {"POST": CLERK},
    "bench_confirm": {"POST": CLERK},
    "bench_post": {"GET": OFFICE, "POST": CLERK},
    "test_result": {"GET": OFFICE},
    "correct_test": {"GET": ACTS["correct"], "POST": ACTS["correct"]},
    "shipments": {"GET": OFFICE, "POST": CLERK},
    "shipment": {"GET": OFFICE, "POST": CLERK},
    "shipment_slip": {"GET": OFFICE},
    "shipment_row": {"GET": CLERK, "POST": CLERK},
    "lab_files": {"GET": OFFICE, "POST": IMPORTERS},
    "lab_file": {"GET": IMPORTERS, "POST": IMPORTERS},
    "lab_mapping_new": {"GET": IMPORTERS, "POST": IMPORTERS},
    "lab_mapping": {"GET": OFFICE},
    "instruments": {"GET": OFFICE},
    "instrument": {"GET": OFFICE},
    "instrument_add": {"GET": ACTS["calibrate"], "POST": ACTS["calibrate"]},
    "instrument_calibrate": {"GET": ACTS["calibrate"], "POST": ACTS["calibrate"]},
    "instrument_withdraw": {"GET": ACTS["calibrate"], "POST": ACTS["calibrate"]},
    "instrument_trace": {"GET": OFFICE, "POST": ACTS["hold_batch"]},
    "instrument_trace_csv": {"GET": OFFICE},
    "instrument_trace_pdf": {"GET": OFFICE},
    "trace_back": {"GET": OFFICE, "POST": ACTS["hold_batch"]},
    "trace_back_csv": {"GET": OFFICE},
    "trace_back_pdf": {"GET": OFFICE},
    # Visitors' gear: a foreman may take it in, what needs an inspector is refused to him by the act.
    "visits": {"GET": OFFICE | {"foreman"}, "POST": ACTS["take_in_others"]},
    "visit": {"GET": OFFICE | {"foreman"}, "POST": ACTS["take_in_others"]},
    "visit_slip": {"GET": OFFICE | {"foreman"}},
    "job": {"GET": ACTS["check_job"], "POST": ACTS["check_job"]},
    "job_check": {"GET": EVERYONE},
    "booms": {"GET": EVERYONE},
    "boom": {"GET": EVERYONE, "POST": ACTS["record_truck"]},
    "api_tests": {"GET": EVERYONE, "POST": CLERK},
    **{
        name: {"GET": EVERYONE} for name in ("trucks", "load_lists", "load_list", "load_checks", "load_check")
    },
    "truck": {"GET": EVERYONE, "POST": ACTS["edit_load_list"]},
    **{
        name: {"GET": ACTS["edit_load_list"], "POST": ACTS["edit_load_list"]}
        for name in ("load_list_add", "load_list_change")
    },
    "devices": {"GET": OFFICE, "POST": ACTS["manage_devices"]},
    "device": {"POST": ACTS["manage_devices"]},
    "my_gear": {"GET": EVERYONE},
    # The phone client. A shared tablet has nobody signed in: these look at the device and the person themselves.
    "field": {"GET": ANYONE},
    "field_worker": {"GET": ANYONE},
    "field_manifest": {"GET": ANYONE},
    "field_bundle": {"GET": ANYONE},
    "field_answer": {"GET": ANYONE},
    "field_sync": {"POST": WORKING | {"anonymous"}},
    "field_enrol": {"POST": ANYONE},
    "field_person": {"POST": ANYONE},
    "field_photo": {"POST": WORKING | {"anonymous"}},
    "field_replacements": {"GET": ANYONE},
}
