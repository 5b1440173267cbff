"""Which words do brewers write over a column, and which of our columns does each mean?

Common practice, no source: the words are those that stand over columns in brewery logs. A word is written here in plain
form: lower case, signs as spaces, without "no.", "number", "id" at its end. The first line of words under a column are
sure; those after ``|`` are weak: they are taken only where no sure word stands on the sheet.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from types import MappingProxyType

__all__ = [
    "ALL_HEADERS",
    "ATTRIBUTES",
    "CLOCKS",
    "HEADERS",
    "HEADER_TOKENS",
    "MEASURES",
    "METERS",
    "NOT_ATTRIBUTES",
    "plain_words",
    "singular",
]

_TAIL = {"no", "nr", "num", "number", "numbers", "id", "ref", "name", "code", "#"}


def plain_words(text: str) -> str:
    """Return a header in plain form: lower case, signs as single spaces, "%", "°" and "#" kept.

    >>> plain_words("Batch No.:"), plain_words("D.O. (CO₂)")
    ('batch no', 'd o co2')
    """
    text = unicodedata.normalize("NFKC", text).casefold()
    return " ".join(re.sub(r"[^\w°%#]+|_", " ", text).split())


def singular(words: str) -> str:
    """Return plain words without "no", "number", "id" and the like at their end.

    >>> singular("batch no"), singular("no")
    ('batch', 'no')
    """
    parts = words.split()
    while len(parts) > 1 and parts[-1] in _TAIL:
        parts.pop()
    return " ".join(parts)


_BATCH = "batch, gyle, brew, brew batch, batch gyle, gyle batch, charge, ferment, fermentation, brewing batch | lot"
_RUN = """run, pack run, packaging run, package run, packing run, canning run, bottling run, kegging run,
    filling run, racking run, fill run, packaging lot, pack lot, packaging batch, run batch, package lot | lot,
    packaging, pack"""
_VESSEL = """vessel, tank, fv, fermenter, fermentor, fermentation vessel, fermenting vessel, cct, unitank, uni
    tank, bbt, bright tank, bright beer tank, conditioning tank, maturation tank, cv, bt, dpv, which tank, tank
    vessel, source tank, into fv, into tank, into vessel, into fermenter, to fv"""
_RECIPE = "recipe, beer, product, brand, beer recipe, brew type, sku | type, style"
_FORMAT = """format, pack format, package type, package, container, pack type, packaging type, packaging format,
    container type, package format, keg bottle, bottle keg, can bottle, bottle can, can keg, keg can, can or
    bottle, keg or bottle, can or keg, can bottle keg, keg can bottle | pack, packaging, type"""
_QUANTITY = """quantity, measure, measurement, parameter, test, analysis, analyte, property, determination,
    variable, measurand, what, reading type, quantity measured, test type, what measured, measured quantity"""
_METER = """meter, instrument, probe, analyser, analyzer, device, equipment, instrument used, meter used,
    turbidimeter, sensor, gauge"""
_NOTE = "note, notes, comment, comments, remark, remarks, observation, observations"
_TASTED = """tasted on, tasted, tasting date, date tasted, tasted at, panel date, session date, test date |
    date, session, day, when, date of test, moment, date time"""

_WORDS: Mapping[str, Mapping[str, str]] = {
    "batches": {
        "batch": _BATCH,
        "recipe": _RECIPE,
        "style": "style, beer style | type, beer type",
        "brewed_on": """brewed on, brewed, brew date, date brewed, brew day, brewing date, brewday, date of
            brew, brewed at, mashed in, mash in date, cast date, cast out date, knockout date, ko date, brewing
            day | date, day, start date, started""",
        "volume": """volume, vol, hl, hls, bbl, bbls, barrels, litres, liters, brew volume, batch volume,
            knockout volume, ko volume, cast volume, cast out volume, volume brewed, vol brewed, wort volume,
            brew length, length, fv volume, volume into fv, volume in fv, vol in fv, volume to fv, batch size,
            gyle size, brew size | size, volume out, yield""",
        "vessel": _VESSEL,
        "original_gravity": """og, o g, original gravity, original extract, oe, start gravity, starting gravity,
            gravity at start, pitching gravity, initial gravity, wort gravity | plato, °p, gravity, sg""",
        "final_gravity": """fg, f g, final gravity, racking gravity, end gravity, finishing gravity, finish
            gravity, final extract, apparent extract, ae, terminal gravity, tg, present gravity, pg""",
    },
    "transfers": {
        "from_batch": """from batch, source batch, from gyle, from brew, batch from, out of batch, gyle from,
            batch out | batch, gyle, brew, lot, from""",
        "to_batch": """to batch, into batch, destination batch, target batch, to gyle, to brew, batch to, new
            batch, blended into, blend batch, gyle to, into gyle, batch in, blend | to, into""",
        "from_vessel": """from vessel, from tank, from fv, source vessel, source tank, ex tank, ex vessel,
            vessel from, tank from, from bbt, out of, out of tank, out of vessel, from fermenter | from, fv,
            source, ex, fermenter, tank, vessel""",
        "to_vessel": """to vessel, to tank, to bbt, to fv, destination vessel, destination tank, into tank, into
            vessel, vessel to, tank to, to bright tank, destination, receiving tank | to, into, bbt, bright
            tank, target""",
        "volume": """volume, vol, hl, hls, bbl, bbls, barrels, litres, liters, volume moved, volume transferred,
            transfer volume, vol moved, amount moved, moved volume | amount, quantity""",
        "moved_at": """moved at, moved on, moved, date moved, transferred, transferred at, transferred on,
            transfer date, date transferred, xfer date, xfer, racked, racked on, racked at, rack date, racking
            date, date racked | date, when, day, date time, datetime, moment, start, started""",
    },
    "operations": {
        "batch": _BATCH,
        "operation": """operation, job, task, activity, action, work, work done, op, job done, cellar job,
            cellar work, cellar operation, job type, treatment, what done, what was done, activity type, process,
            work type | event, what, step, type, done""",
        "vessel": _VESSEL,
        "started_at": """started at, started, start, start date, started on, begin, begun, began, done at, done
            on, job date, date done, date started, date of job, start date time, start datetime, on at | date,
            when, day, datetime, date time, timestamp, moment, from, on, at, date and time""",
        "ended_at": """ended at, ended, end, end date, finish, finished, finished at, stop, stopped, finish
            date, completed, date finished, date ended, end datetime | until, to, off, out""",
        "minutes": """minutes, mins, min, duration, length of time, time taken, dur, run time, running time,
            roused for, for, contact time, rouse time, rousing time, duration of job, minutes taken, how long |
            hours, hrs, hour, hr""",
        "amount": """amount, dose, qty, added, dosage, dose rate, amount added, volume added, weight, how much,
            quantity added, addition amount, rate, addition rate, amount dosed, dosed, weight added, amount used
            | quantity, volume, vol""",
        "unit": "unit, units, uom, dose unit, unit of dose, amount unit, unit of measure, dose units",
        "agent": """agent, material, chemical, finings, finings type, ingredient, what with, hop, hops, hop
            variety, additive, process aid, processing aid, material added, agent used, fining agent, product
            used, with | product, addition, gas""",
        "note": _NOTE,
    },
    "pack_runs": {
        "run": _RUN,
        "batch": _BATCH,
        "packed_at": """packed at, packed on, packed, packaged on, packaged at, packaged, pack date, packing
            date, packaging date, package date, date packed, date packaged, canned, canned on, canned at,
            canning date, date canned, bottled, bottled on, bottled at, bottling date, date bottled, kegged,
            kegged on, kegging date, filled, filled on, filled at, fill date, filling date, date filled, racked,
            racked on, racked at, racking date, run date, packaging day, pack day, date of packaging, date of
            packing, pkg date, pkgd, pkgd on, pkg d, pkg day, pkged, date pkgd, pack dt, pkg dt, can date, bottle
            date, keg date, packaging start, packing start, pack start, run start, fill start, filling start, canning
            start, bottling start, kegging start, started packing, started packaging, start of packaging,
            start of packing, start of run, first can, first bottle, production date | date, start, when, day,
            start date, date time, datetime, started, moment""",
        "format": _FORMAT,
        "size": """size, pack size, container size, fill volume, can size, bottle size, nominal volume, nominal
            fill, contents, package size, net volume, keg size, pack volume, package volume, fill size, net
            contents, liquid volume | volume, vol, ml""",
        "headspace": """headspace, head space, headspace volume, head space volume, ullage, gas space, hs
            volume, hs vol, headspace vol, hs""",
        "line": """line, filler, canning line, packaging line, pack line, filling line, bottling line, kegging
            line, machine""",
        "fill_temperature": """fill temperature, fill temp, filling temperature, filling temp, filler temp,
            filler temperature, temp at fill, temp at filler, temperature at fill, temperature at filler, bowl
            temp, bowl temperature, filler bowl temp, temp filler, fill t, beer temp at fill, beer temp at
            filler | temp, temperature, beer temp""",
    },
    "readings": {
        "batch": _BATCH,
        "run": _RUN.partition("|")[0],
        "stage": """stage, sample point, sampling point, sample location, sampling location, location, process
            stage, where, where taken, point, process point, sampled from, sample from, taken from""",
        "sample": """sample, can, bottle, pack, keg, specimen, sample can, sample bottle, can sample, sample #,
            sample pack, cask, package | no, #, position""",
        "measured_at": """measured at, measured on, measured, tested, tested on, tested at, test date, date
            tested, analysed, analysed on, analysis date, analyzed, analyzed on, sampled, sampled on, sampled
            at, sample date, date sampled, read at, read on, reading date, date measured, date read, opened,
            opened on, date opened, checked, checked at, checked on, check date, measurement date, date
            analysed, date of test, date of analysis | date, when, day, date time, datetime, timestamp, moment,
            date and time""",
        "quantity": _QUANTITY,
        "value": """value, result, reading, measured value, test result, observed value, figure, found | level,
            observed, amount""",
        "unit": "unit, units, uom, unit of measure, result unit",
        "temperature": """sample temperature, sample temp, temperature of sample, temp of sample, measurement
            temperature, temp at test, temperature at test, temp at reading, test temp, test temperature, can
            temp, bottle temp, pack temp, can temperature, bottle temperature, pack temperature, shaken temp,
            temp shaken | temperature, temp, beer temp, beer temperature, t""",
        "angle": "angle, haze angle, scatter angle, scattering angle, measuring angle, angle of scatter",
        "meter": _METER,
        "replicate": "replicate, rep, repeat, repetition, duplicate, replicate reading",
        "vessel": _VESSEL,
    },
    "tastings": {
        "run": _RUN.replace("| lot", "| lot, sample, sample run"),
        "tasted_on": _TASTED,
        "panellist": """panellist, panelist, taster, assessor, judge, panel member, tasted by, assessor name,
            taster name, panellist initials, taster initials | name, initials, who, by""",
        "attribute": """attribute, descriptor, term, flavour attribute, flavor attribute | flavour, flavor,
            character, what, quality""",
        "score": "score, rating, intensity, mark, points, scored | value, result, strength",
        "scale": "scale, scale max, out of, max score, scale used, range, maximum score, scoring scale",
    },
    "taste_tests": {
        "run": "run, test run, run a, sample run, run tested, sample a | sample, pack run, packaging run, lot",
        "other_run": """other run, against, versus, vs, compared with, compared to, control, control run,
            reference run, run b, sample b, second run, against run, comparison run, reference | other""",
        "test": "test, test type, method, test method, kind of test, type of test | type",
        "tasted_on": _TASTED,
        "tasters": """tasters, no of tasters, number of tasters, n, panel size, assessors, judges, panellists,
            panelists, number of assessors, no of assessors, no of panellists, number of panellists, responses,
            n tasters, trials | total""",
        "correct": """correct, correct answers, no correct, number correct, right, no right, correct responses,
            correct choices, number of correct answers, correct n, n correct, hits, picked right, got it right""",
    },
    "meter_checks": {
        "meter": _METER,
        "checked_at": """checked at, checked on, checked, check date, date checked, calibrated, calibrated on,
            calibration date, verified, verified on, verification date, date of check, date of calibration |
            date, when, day, date time, datetime, moment, tested""",
        "quantity": _QUANTITY,
        "reference": """reference, standard, standard value, reference value, expected, true, true value,
            nominal, known value, should read, certified value, std value, expected value, std, actual, should
            be, known, certified | ref, target""",
        "observed": """observed, reading, found, meter reading, as found, measured, measured value, observed
            value, read, reads, meter read, result, indicated, meter value, did read | value""",
        "unit": "unit, units, uom, unit of measure",
    },
    "targets": {
        "recipe": _RECIPE,
        "format": _FORMAT,
        "quantity": _QUANTITY,
        "lower": """lower, lower limit, min, minimum, low, lsl, lower spec, at least, not below, lower bound,
            low limit""",
        "upper": """upper, upper limit, max, maximum, high, usl, upper spec, at most, not above, upper bound,
            high limit | limit, spec""",
        "target": "target, aim, goal, set point, setpoint, target value, nominal, desired",
        "margin": """margin, smallest difference that matters, smallest difference, difference that matters,
            matters from, practical margin, what matters""",
    },
}  # fmt: skip

# Words over a column of clock times; the date then stands in a column beside.
_CLOCKS: Mapping[str, Mapping[str, str]] = {
    "transfers": {"moved_at": "time, clock, time moved, start time, start, transfer time, time started"},
    "operations": {
        "started_at": """time, start time, clock, time started, time start, time on, start, started, from, on,
            begin, time in""",
        "ended_at": """end time, finish time, time finished, time ended, time off, stop time, time stopped, end,
            to, off, until, time out""",
    },
    "pack_runs": {
        "packed_at": """time, start time, clock, time packed, time filled, fill time, start, time started, pack
            time, packaging time, packing time, time start, canning time, bottling time, kegging time, pack start
            time, packaging start time, packing start time, run start time""",
    },
    "readings": {
        "measured_at": """time, clock, time measured, time tested, sample time, time sampled, reading time, time
            read, test time, time taken, time of test""",
    },
    "meter_checks": {"checked_at": "time, clock, time checked, check time"},
}  # fmt: skip

_MEASURES: Mapping[str, str] = {
    "dissolved_oxygen": """do, d o, do2, o2, oxygen, dissolved oxygen, dissolved o2, do o2, d o2, liquid o2,
        liquid oxygen, shaken do, do shaken, beer do, can do, bottle do, pack do, keg do, in pack do, in can do,
        do in can, do in pack, do in bottle, oxygen in beer, oxygen dissolved, do reading, do result, tank do,
        do tank, bbt do, fv do, filler do, do at filler, do filler, do value, dissolved oxygen shaken, shaken
        oxygen, inline do""",
    "headspace_oxygen": """headspace oxygen, headspace o2, head space oxygen, head space o2, hs o2, hso2, hso,
        hs oxygen, gas oxygen, gas o2, o2 in headspace, oxygen in headspace, o2 headspace""",
    "total_oxygen": """tpo, t p o, total package oxygen, total packaged oxygen, total pack oxygen, total in
        package oxygen, total oxygen, total o2, tipo, tio, total package o2, total in pack oxygen, tpo result,
        tpo value, tpo reading, total do""",
    "haze": """haze, turbidity, clarity, turb, ntu, ebc, fnu, ftu, haze 90, haze 90°, 90° haze, 90 haze, haze at
        90, haze at 90°, haze 90 deg, h90, h 90, s90, nephelometry, haze reading, haze result, haze value,
        turbidity 90, turbidity 90°, 90°, haze ebc, permanent haze, haze 20 °c, haze 20°c, side scatter, tank
        haze, pack haze, can haze, bottle haze""",
    "haze_forward": """forward haze, haze forward, forward scatter, forward angle, forward angle haze, haze
        forward angle, fwd haze, haze fwd, haze 25, haze 25°, 25° haze, 25 haze, haze at 25°, haze at 25, h25,
        s25, haze 13, haze 13°, 13° haze, haze 11°, haze 11, haze 12°, haze 12, haze 15°, haze 15, haze at 13°,
        haze at 11°, turbidity 25°, turbidity 25, 25°, 13°, 11°, forward, forward turbidity, turbidity forward,
        haze 25 deg, haze 13 deg, haze 12 deg, forward scatter haze""",
    "chill_haze": "chill haze, chill proof haze, chillhaze, cold less warm haze",
    "temperature": """temperature, temp, beer temp, beer temperature, tank temp, tank temperature, fv temp, fv
        temperature, bbt temp, bbt temperature, liquid temp""",
    "carbon_dioxide": """co2, carbon dioxide, carbonation, vols co2, co2 vols, vol co2, co2 volumes, co2
        content, dissolved co2, carb, carb level, carbonation level, co2 level""",
    "ph": "ph, ph value, ph reading, beer ph",
    "yeast_count": """yeast count, cell count, cells, yeast, yeast cells, cells per ml, cells in suspension,
        yeast in suspension, cell numbers, yeast cell count, cell density, suspended yeast, cells ml, count""",
}  # fmt: skip

# A meter named for what it reads.
METERS: Mapping[str, tuple[str, ...]] = {
    "oxygen": ("dissolved_oxygen", "total_oxygen", "headspace_oxygen"),
    "haze": ("haze", "haze_forward", "chill_haze"),
    "co2": ("carbon_dioxide",),
    "ph": ("ph",),
    "yeast": ("yeast_count",),
    "temperature": ("temperature",),
}


def _set(words: str) -> frozenset[str]:
    return frozenset(" ".join(word.split()) for word in words.split(","))


ATTRIBUTES = _set("""papery, cardboard, stale, leathery, leather, mouldy, musty, honey, sherry, sherry like,
        catty, oxidised, oxidized, oxidation, overall, overall quality, liking, overall liking, bitterness,
        bitter, sweetness, sweet, hop aroma, hoppy, hops, hop flavour, hop flavor, hop character, hop intensity,
        malty, malt, maltiness, fruity, fruit, esters, estery, ester, sulphury, sulphur, sulfury, sulfur,
        diacetyl, buttery, butter, body, mouthfeel, fullness, astringent, astringency, metallic, sour, sourness,
        acidic, acidity, clarity, haze, appearance, aroma, flavour, flavor, aftertaste, freshness, fresh,
        balance, drinkability, dms, acetaldehyde, phenolic, phenol, lightstruck, light struck, skunky,
        autolysed, autolysis, yeasty, grainy, worty, toffee, caramel, roasty, roast, citrus, tropical, resinous,
        floral, spicy, solvent, alcohol, warming, carbonation, foam, head, colour, color, off flavour, off
        flavours, quality, typicality, true to type, papery note, staleness, smoothness, dryness, dry,
        harshness, harsh, lingering""")
NOT_ATTRIBUTES = _set("""age, age days, days, days old, weeks, flight, order, position, session, seat, glass, round,
        year, week, month, temperature, temp, no, #, row, batch, gyle, brew, code, blind code, three digit code,
        sample code, panel, time, duration, serving order, serving temp, lot, storage days, storage temp,
        storage, date""")


def _index(words: str) -> dict[str, int]:
    """Return each word of a list with its rank: 0 where it is sure, 1 where it is weak."""
    ranked: dict[str, int] = {}
    for rank, part in enumerate(words.split("|")):
        for word in part.split(","):
            ranked.setdefault(" ".join(word.split()), rank)
    ranked.pop("", None)
    return ranked


HEADERS: Mapping[str, Mapping[str, Mapping[str, int]]] = MappingProxyType(
    {kind: {name: _index(words) for name, words in columns.items()} for kind, columns in _WORDS.items()}
)
CLOCKS: Mapping[str, Mapping[str, Mapping[str, int]]] = MappingProxyType(
    {kind: {name: _index(words) for name, words in columns.items()} for kind, columns in _CLOCKS.items()}
)
MEASURES: Mapping[str, str] = MappingProxyType(
    {word: name for name, words in _MEASURES.items() for word in _index(words)}
)
ALL_HEADERS = frozenset(
    word
    for table in (HEADERS, CLOCKS)
    for columns in table.values()
    for words in columns.values()
    for word, rank in words.items()
    if rank == 0 or len(word) > 2
)
HEADER_TOKENS = frozenset(token for words in (*ALL_HEADERS, *MEASURES) for token in words.split())
"""Every single word of a header: a text without any of them is no header that is known."""
