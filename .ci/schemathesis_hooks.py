"""What schemathesis is told besides the OpenAPI document: how strictly to read it, what must not be sent, and which refusals
no schema could have foretold.

The script beside this file sets HEELTAP_OWN_TOKEN_ID, the id of the token that the requests carry.
"""

import json
import os
import re
import zlib
from datetime import date, timedelta
from decimal import Decimal
from urllib.parse import urlsplit

import schemathesis
from schemathesis.core.jsonschema import make_validator

OWN_TOKEN_ID = int(os.environ["HEELTAP_OWN_TOKEN_ID"])

# What a schema says of one value by itself. A refusal in these words, of a request that the document allows, is a fault of the
# document (or of the service). Every other refusal is about how values stand to each other, to the books or to the day.
SAYABLE = re.compile(
    r"missing field|unknown field|unknown variant|invalid type|invalid value|invalid length|did not match|characters"
    r"|must not be blank|not only blanks|no reason is given|is not an e-mail address|is not a decimal|is no topic|is not one of"
)

# The same of a query (400), which has few relations: these.
RELATIONS_OF_A_QUERY = re.compile(
    r"leave it out with|give both, or leave it out|is before start_at|is after|is not a currency"
)

# The schemas of decimals. They are texts, so that nothing is lost on the way; a JSON number that is short enough is read all
# the same, and is left out of the document so that nobody comes to rely on it.
DECIMALS = ("Micro", "Money", "Quantity")

SCHEMAS = {}


@schemathesis.hook
def before_load_schema(context, raw_schema):
    """Every status must be documented by its number, so that `default` excuses none."""
    SCHEMAS.update(raw_schema["components"]["schemas"])
    for operations in raw_schema["paths"].values():
        for operation in operations.values():
            if isinstance(operation, dict):
                operation.get("responses", {}).pop("default", None)


# Of these a request gives one; no schema says so.
EITHER = [
    ("containers", "good_chips_wanted"),
    ("containers_per_group", "good_chips_per_group"),
    ("on_hand", "gross_g"),
    ("lot", "order_no"),
    ("lot", "line_no"),
]


@schemathesis.hook
def before_call(context, case, kwargs):
    """The requests' own token stays, since without it all that follows would end at the door; whatever webhook is made sends to
    a closed port of this machine; and every other request that the document allows is put right where no schema could, so that
    it gets beyond the first look."""
    if case.meta and case.meta.generation.mode.is_positive and isinstance(case.body, dict):
        chance = zlib.crc32(json.dumps(case.body, sort_keys=True).encode())
        if chance % 2:
            put_right(case.body, chance)
    if case.method == "DELETE" and case.path == "/v1/tokens/{id}":
        asked = str((case.path_parameters or {}).get("id", ""))
        if re.fullmatch(r"\+?0*%d" % OWN_TOKEN_ID, asked):
            case.path_parameters["id"] = 2**63 - 1
    if case.path == "/v1/webhooks" and isinstance(case.body, dict) and isinstance(case.body.get("url"), str):
        url = case.body["url"]
        if re.match(r"\s*https?:", url, re.IGNORECASE):
            try:
                path = urlsplit(url).path
            except ValueError:
                path = ""
            case.body["url"] = "https://127.0.0.1:9" + (path if path.startswith("/") else "")


def put_right(body, chance, trays="containers", chips="good_chips_wanted"):
    """Makes the values of a body fit each other and the demo: either of two, shares that add up to 100, a recipe that is there,
    a day to come for what is planned and today for what was done."""
    for one, other in EITHER:
        if one in body and other in body:
            del body[other]
    if "cast_on" in body and "recipe" in body:
        body["recipe"] = ("flow", "pit", "tile")[chance % 3]
        body["cast_on"] = (date.today() + timedelta(days=chance % 60)).isoformat()
        if chips not in body:
            body[trays] = 1 + chance % 6
        if "groups" in body:
            body["groups"] = 1
        for name in ("heat_override_reason", "residue_quantile"):
            body.pop(name, None)
    for name in ("poured_on", "demolded_on", "treated_on", "inspected_on"):
        if name in body:
            body[name] = date.today().isoformat()
    if isinstance(body.get("charges"), list) and body["charges"]:
        body["charges"] = [{"grant": body["charges"][0]["grant"], "share": "100"}]
    for name, part in body.items():
        words = ("containers_per_group", "good_chips_per_group") if name == "sessions" else ()
        for inner in part if isinstance(part, list) else [part]:
            if isinstance(inner, dict):
                put_right(inner, chance, *words)


@schemathesis.hook
def filter_failure(context, failure, case, response):
    """Whether a failure counts. Three kinds do not: a request that the document allows is refused for a reason that no schema
    can say; one is taken that has a decimal as a number; and what was deleted is found with the moment of it."""
    if failure.code == "ST301":
        return not over(response)
    if failure.code == "ST201":
        return not right_as_texts(case)
    if failure.code != "ST202":
        return True
    problem = json.loads(response.content)
    kind = problem["type"].removeprefix("urn:heeltap:problem:")
    if kind in ("import-rejected", "key-reused"):
        return False
    if kind == "bad-query":
        return not RELATIONS_OF_A_QUERY.search(problem["detail"])
    errors = problem.get("errors", [])
    return kind != "invalid" or not errors or any(sayable(case.body, error) for error in errors)


def over(response):
    """Whether what is answered says since when it holds no more. All that can be deleted here (calendar keys, purchase budgets,
    tokens, webhooks) stays readable, since what it did stands in the books under its name."""
    thing = json.loads(response.content)
    return any(thing.get(moment) for moment in ("removed_at", "revoked_at", "withdrawn_at"))


def right_as_texts(case):
    """Whether the body is right once its decimals are texts, and so is all else of the request."""
    others = case.meta.components.items()
    if any(where.value != "body" and part.mode.is_negative for where, part in others):
        return False
    given = case.operation.get_body_for_media_type(case.media_type)
    declared = case.operation.definition.raw.get("requestBody", {}).get("content", {}).get(case.media_type, {})
    if given is None or "schema" not in declared:
        return False
    validator = make_validator(given.optimized_schema, case.operation.schema.adapter.jsonschema_validator_cls)
    return validator.is_valid(as_texts(declared["schema"], case.body))


def as_texts(schema, value):
    """A value with its decimals as texts, where it has them as numbers."""
    if "$ref" in schema:
        name = schema["$ref"].rsplit("/", 1)[-1]
        if name in DECIMALS and isinstance(value, (int, float)) and not isinstance(value, bool):
            return format(Decimal(repr(value)), "f")
        return as_texts(SCHEMAS[name], value)
    for choice in schema.get("oneOf", []) + schema.get("anyOf", []) + schema.get("allOf", []):
        value = as_texts(choice, value)
    if isinstance(value, dict):
        fields = schema.get("properties", {})
        return {name: as_texts(fields.get(name, {}), part) for name, part in value.items()}
    if isinstance(value, list) and isinstance(schema.get("items"), dict):
        return [as_texts(schema["items"], part) for part in value]
    return value


def sayable(body, error):
    """Whether a schema could have said what is wrong. It can bound a whole number, but not a decimal, which is a text; and to a
    schema 1.0 is a whole number, which it is not here."""
    value = at(body, error["pointer"])
    if isinstance(value, float) and error["detail"].startswith("invalid type: floating point"):
        return not value.is_integer()
    if SAYABLE.search(error["detail"]):
        return True
    # The number refused is the sender's own, and no sum of it and others.
    return isinstance(value, int) and error["detail"].startswith(f"{value} is out of range")


def at(body, pointer):
    """The value of a body at a JSON pointer; none where there is none."""
    for part in pointer.split("/")[1:]:
        part = part.replace("~1", "/").replace("~0", "~")
        if isinstance(body, list) and part.isdigit() and int(part) < len(body):
            body = body[int(part)]
        elif isinstance(body, dict):
            body = body.get(part)
        else:
            return None
    return body
