"""Versions of invented records and their digests, made from the words of docs/pooling-protocol.md alone, with nothing
of the program: python3 record_digests.py > ../fixtures/record-digests.json"""

import hashlib
import json
import random
from decimal import Decimal

SHORT_ESCAPES = {'"': '\\"', "\\": "\\\\", "\b": "\\b", "\t": "\\t", "\n": "\\n", "\f": "\\f", "\r": "\\r"}


def number_text(value):
    """The shortest decimal that reads back to the same double; an exponent below 1e-6 and from 1e21."""
    if isinstance(value, int):
        return str(value)
    if value == 0:
        return "0"
    sign, digits, exponent = Decimal(repr(value)).normalize().as_tuple()
    shown = "".join(map(str, digits))
    point = len(shown) + exponent
    minus = "-" if sign else ""
    if -6 < point <= 21:
        if point <= 0:
            return minus + "0." + "0" * -point + shown
        if point >= len(shown):
            return minus + shown + "0" * (point - len(shown))
        return minus + shown[:point] + "." + shown[point:]
    rest = "." + shown[1:] if len(shown) > 1 else ""
    power = point - 1
    return f"{minus}{shown[0]}{rest}e{'+' if power > 0 else '-'}{abs(power)}"


def string_text(value):
    signs = (SHORT_ESCAPES.get(sign) or (f"\\u{ord(sign):04x}" if ord(sign) < 32 else sign) for sign in value)
    return '"' + "".join(signs) + '"'


def canonical(value):
    if value is None:
        return "null"
    if value is True:
        return "true"
    if value is False:
        return "false"
    if isinstance(value, str):
        return string_text(value)
    if isinstance(value, (int, float)):
        return number_text(value)
    if isinstance(value, list):
        return "[" + ",".join(map(canonical, value)) + "]"
    keys = sorted(value, key=lambda key: key.encode("utf-16-be"))
    return "{" + ",".join(string_text(key) + ":" + canonical(value[key]) for key in keys) + "}"


def digest(value):
    return hashlib.sha256(canonical(value).encode("utf-8")).hexdigest()


draw = random.Random(20261126)


def hexadecimal(count):
    return "".join(draw.choice("0123456789abcdef") for _ in range(count))


def measured():
    kind = draw.randrange(5)
    if kind == 0:
        return float(draw.randrange(-300, 300))
    if kind == 1:
        return draw.uniform(60, 130)
    if kind == 2:
        return draw.uniform(-1, 1) * 10.0 ** -draw.randrange(0, 12)
    if kind == 3:
        return draw.choice([0.0, -0.0, 1e-6, 9.999999999999999e-7, 5e-324, 0.1 + 0.2, -1000.0, 1000.0])
    return round(draw.uniform(60, 130), 1)


def visit(day, kind):
    measures = draw.sample(["Co-Gn", "SNB", "ANB"], draw.randrange(0, 4))
    values = [
        {
            "measure": measure,
            "value": measured(),
            "films": draw.randrange(1, 10),
            "readings": draw.randrange(1, 100),
            "magnification": draw.choice(["natural", "by-factor", "not-enlarged"]),
        }
        for measure in measures
    ]
    return {"kind": kind, "day": day, "values": values}


def record():
    days = [-draw.randrange(300, 7501), 0] + sorted(draw.sample(range(1, 36501), draw.randrange(0, 5)))
    kinds = ["start", "end_of_active"] + ["follow_up"] * (len(days) - 2)
    return {
        "pseudonym": hexadecimal(32),
        "group": "treated",
        "sex": draw.choice(["female", "male"]),
        "ageMonths": draw.randrange(0, 1201),
        "protocol": draw.choice([None, "PLATE", "FIXED"]),
        "expansion": draw.choice([None, True, False]),
        "maturityStart": draw.choice([None, "CS1", "CS6", "before-peak", "after-peak"]),
        "yearsPassed": draw.randrange(0, 101),
        "visits": [visit(day, kind) for day, kind in zip(days, kinds)],
        "events": [
            {"event": draw.choice(["treated_again", "withdrew", "moved", "declined"]), "day": day}
            for day in sorted(draw.sample(range(1, 36501), draw.randrange(0, 3)))
        ],
    }


member = "6b0e3b1c-2f54-4a8e-9d07-1c5a2e4f7b90"
versions = []
for _ in range(60):
    first = record()
    second = dict(first, yearsPassed=(first["yearsPassed"] + 1) % 100)
    version = digest({"basedOn": None, "record": first})
    versions.append(
        {
            "record": first,
            "version": version,
            "changed": second,
            "changedVersion": digest({"basedOn": version, "record": second}),
            "tombstone": digest({"member": member, "withdrawn": first["pseudonym"]}),
        }
    )
print(json.dumps({"member": member, "versions": versions}))
