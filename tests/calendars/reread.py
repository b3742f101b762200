"""Reads the calendar of a service by another library and holds it against what the API says, event by event."""

import datetime
import json
import os
import sys
import urllib.request
from decimal import Decimal

import icalendar

ADDRESS = sys.argv[1]
DAY = datetime.timedelta(days=1)
ODD_NAME = 'Bøtte; "60 × 40", 老虎 \\ tray 🧪 ' + "ø" * 90


def ask(method, path, body=None, headers=None):
    request = urllib.request.Request(ADDRESS + path, method=method)
    request.add_header("Authorization", "Bearer " + os.environ["TOKEN"])
    for name, value in (headers or {}).items():
        request.add_header(name, value)
    if body is not None:
        request.data = json.dumps(body).encode()
        request.add_header("Content-Type", "application/json")
    with urllib.request.urlopen(request) as answer:
        return json.load(answer), answer.headers


def items(path):
    """Every item of a list, page by page."""
    found, cursor = [], None
    while True:
        page, _ = ask("GET", path if cursor is None else f"{path}&cursor={cursor}")
        found += page["items"]
        cursor = page.get("next")
        if cursor is None:
            return found


def day(text):
    return datetime.date.fromisoformat(text)


def feed(path):
    # The key is in the address: no token is sent.
    with urllib.request.urlopen(ADDRESS + path) as answer:
        assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8", answer.headers
        return answer.read()


def wanted(today):
    """What should stand in the calendar, by what each event is known by: the day, and what its text must hold."""
    events = {}
    for advice in items("/v1/reorder?limit=200"):
        if advice["watched"] and advice["order_by"]:
            events["order-" + advice["material"]] = (day(advice["order_by"]), advice["name"], advice["reason"])
    for cast in items("/v1/casts?state=booked&limit=200"):
        events["cast-" + cast["code"]] = (day(cast["cast_on"]), cast["code"], cast["recipe"])
    materials = {material["code"]: material for material in items("/v1/materials?limit=200")}
    for lot in items("/v1/lots?limit=200"):
        material = materials[lot["material"]]
        for pack in lot["packs"]:
            if Decimal(pack["on_hand"]) <= Decimal(material.get("heel", "0")) or "held_reason" in pack:
                continue
            ends = []
            if "opened_on" in pack and "open_life_days" in material:
                ends.append((day(pack["opened_on"]) + DAY * material["open_life_days"], f"pack-{pack['id']}"))
            if "expires_on" in lot:
                ends.append((day(lot["expires_on"]), f"lot-{lot['id']}"))
            if ends:
                on, uid = min(ends, key=lambda end: (end[0], end[1].startswith("pack")))
                events[uid] = (on, material["name"], lot["lot"])
    first = today - 30 * DAY
    return {uid: event for uid, event in events.items() if event[0] >= first}


def check(raw, expected):
    lines = raw.split(b"\r\n")
    assert lines.pop() == b"", "the last line has no end"
    for line in lines:
        assert len(line) <= 75 and b"\n" not in line and b"\r" not in line, line
        line.decode("utf-8")
    calendar = icalendar.Calendar.from_ical(raw)
    assert calendar["VERSION"] == "2.0" and calendar["NAME"] == "heeltap", calendar
    assert calendar["REFRESH-INTERVAL"].dt == datetime.timedelta(hours=1), calendar["REFRESH-INTERVAL"]
    events = {}
    for component in calendar.walk():
        assert not component.errors, (component, component.errors)
        if component.name != "VEVENT":
            assert component.name == "VCALENDAR", component.name
            continue
        known_by, _, rest = component["UID"].rpartition(".")
        assert rest.endswith("@heeltap") and known_by not in events, component["UID"]
        for required in ("DTSTAMP", "SUMMARY", "DESCRIPTION", "CATEGORIES", "STATUS"):
            assert required in component, (known_by, required)
        assert component["TRANSP"] == "TRANSPARENT", known_by
        start, end = component["DTSTART"].dt, component["DTEND"].dt
        assert type(start) is datetime.date and end == start + DAY, (known_by, start, end)
        events[known_by] = (start, component["SUMMARY"], component["DESCRIPTION"])
    assert events.keys() == expected.keys(), events.keys() ^ expected.keys()
    for known_by, (on, name, more) in expected.items():
        start, summary, description = events[known_by]
        assert start == on, (known_by, start, on)
        assert name in summary, (known_by, summary, name)
        assert more in summary + " " + description, (known_by, summary, description, more)
    return events


def main():
    advice = items("/v1/reorder?limit=200")
    today = day(advice[0]["computed_on"])
    path = ask("POST", "/v1/calendar-keys", {"name": "reread"})[0]["path"]
    # A name with all that needs escaping and folding, on something that expires.
    code = next(lot["material"] for lot in items("/v1/lots?limit=200") if "expires_on" in lot and Decimal(lot["on_hand"]) > 0)
    _, headers = ask("GET", f"/v1/materials/{code}")
    ask("PATCH", f"/v1/materials/{code}", {"name": ODD_NAME}, {"If-Match": headers["ETag"]})
    recipe = items("/v1/recipes?limit=200")[0]["code"]
    wish = {"recipe": recipe, "containers": 1, "cast_on": str(today + 9 * DAY), "allow_short": True}
    cast, headers = ask("POST", "/v1/casts", wish)
    first = check(feed(path), wanted(today))
    assert any(ODD_NAME in summary for _, summary, _ in first.values())
    kinds = {kind: sum(uid.startswith(kind) for uid in first) for kind in ("order", "lot", "pack", "cast")}
    assert kinds["order"] and kinds["lot"] and kinds["cast"], kinds
    # What moves keeps its name, and what is cancelled is gone.
    ask("PATCH", f"/v1/casts/{cast['code']}", {"cast_on": str(today + 12 * DAY)}, {"If-Match": headers["ETag"]})
    moved = check(feed(path), wanted(today))
    assert moved["cast-" + cast["code"]][0] == today + 12 * DAY
    ask("POST", f"/v1/casts/{cast['code']}/cancel", {})
    gone = check(feed(path), wanted(today))
    assert moved.keys() - gone.keys() == {"cast-" + cast["code"]}
    print(f"{len(first)} events as the API says: {kinds}")


main()
