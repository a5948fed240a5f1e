#!/usr/bin/env python3
"""Makes the example exports of this folder: python3 make_examples.py

Everything in them is invented (the fictional Quillmoor Oat Works). Standard library
only, seeded, and the same bytes on every run. What is messy in them is messy on purpose:

work-orders.csv   Windows-1252, `;`, decimal commas, newest first, titles above the
                  headings, spellings at will, cancelled orders, a total at the end, one
                  order on several rows, a start in each hour of a clock change, a meter
                  misread, a valve on a cylinder that is not there
packing-log.xlsx  titles above the headings, machine written once for a run of rows, days
                  typed and as text, formulas (one that failed), a second sheet
cells.xlsx, .ods  one cell of each kind, the same in both
"""

import datetime as dt
import random
import zipfile

DAY = dt.timedelta(days=1)


# ---------------------------------------------------------------------------------------
# Work orders of H-01 and H-02.


def comma(value, digits=1):
    return f"{value:.{digits}f}".replace(".", ",")


def grouped(value):
    return f"{value:,}".replace(",", ".")


def stamp(time):
    return time.strftime("%d.%m.%Y %H:%M")


def work_orders():
    draw = random.Random(20260)
    fitters = ["R. Tamm", "J. Oakes", "M. Sedge"]
    spelt = {
        "packing": ["Pkg", "packing", "Packing set", "PKG"],
        "ball": ["valve ball", "V-ball", "Valve Ball"],
        "plunger": ["Plunger", "plunger"],
    }
    orders = []
    for tag, meter, rate in (("H-01", 18_210.0, 94.0), ("H-02", 2_960.0, 98.0)):
        slots = {}
        for cyl in "123":
            slots["packing", cyl] = [draw.uniform(0, 1500), 0.0]
            slots["plunger", cyl] = [draw.uniform(500, 6000), 0.0]
            for side in ("suction", "discharge"):
                slots["ball", f"{cyl} {side}"] = [draw.uniform(0, 4500), 0.0]
        life = {"packing": (2700, 2.6), "plunger": (11_000, 3.0), "ball": (6_800, 2.0)}
        planned = {"packing": 2000, "plunger": 10_000, "ball": 6000}
        for (part, _), slot in slots.items():
            slot[1] = max(draw.weibullvariate(*life[part]), slot[0] + draw.uniform(50, 900))
        day = dt.datetime(2022, 1, 3)
        week = 0
        while day < dt.datetime(2025, 10, 20):
            hours = max(40.0, draw.gauss(rate, 7))
            if week and week % 6 == 0:
                due = {}
                for (part, where), slot in slots.items():
                    if slot[0] >= planned[part] - 250:
                        due.setdefault(part, []).append(where)
                        slot[0] = 0.0
                        slot[1] = draw.weibullvariate(*life[part])
                if due:
                    when = day + dt.timedelta(hours=7, minutes=draw.choice([0, 15, 30]))
                    then = meter + hours * (when - day) / (7 * DAY)
                    orders.append((tag, when, then, "PM", list(due.items())))
            for (part, where), slot in slots.items():
                if slot[0] + hours >= slot[1]:
                    share = (slot[1] - slot[0]) / hours
                    when = day + dt.timedelta(days=7 * share)
                    when = when.replace(minute=when.minute // 15 * 15, second=0, microsecond=0)
                    then = meter + hours * ((when - day) / (7 * DAY))
                    orders.append((tag, when, then, "BD", [(part, [where])]))
                    slot[0] = -hours * share
                    slot[1] = draw.weibullvariate(*life[part])
                slot[0] += hours
            meter += hours
            day += 7 * DAY
            week += 1
    orders.sort(key=lambda order: order[1])
    rows = []
    number = 4100
    for tag, when, meter, kind, work in orders:
        number += draw.randint(1, 4)
        hours = 1.5 * len(work) + 0.5 * sum(len(where) for _, where in work)
        hours += draw.choice([0, 0.25, 0.5])
        stop = hours * 0.7 if kind == "PM" else hours + draw.choice([1.0, 2.5, 4.0])
        done = when + dt.timedelta(minutes=15 * round(stop * 4))
        fitter = draw.choice(fitters)
        for part, where in work:
            cause = {"PM": draw.choice(["planned", "PM", "planned "])}.get(kind)
            if cause is None:
                cause = {
                    "packing": draw.choice(["leak", "leaking \u2013 breakdown", "leak"]),
                    "ball": draw.choice(["pitted", "chipped", "pitted"]),
                    "plunger": "scored",
                }[part]
            if part == "packing":
                number_of = "PK-3040" if when.year < 2024 else "PK-3042"
                text = "all" if len(where) == 3 else "+".join(where)
            elif part == "ball":
                number_of = "VB-32"
                short = {"suction": "S", "discharge": "D"}
                text = "+".join(f"{w.split()[0]} {short[w.split()[1]]}" for w in where)
            else:
                number_of = "PL-60C"
                text = "+".join(where)
            remark = draw.choice(["", "", "", "ok after run-in", "waited for parts", "night shift"])
            cost = ""
            if kind == "BD" and draw.random() < 0.3:
                cost = f"{grouped(draw.randint(2, 14) * 100)},00 \u20ac"
            rows.append([
                f"WO-{number}", "done", tag, stamp(when), stamp(done), kind,
                draw.choice(spelt[part]), text, number_of, cause,
                comma(hours, 2), comma(stop), grouped(round(meter)), cost, fitter, remark,
            ])
    # What is wrong in it, by hand.
    for at, status in ((17, "cancelled"), (41, "CANC."), (58, "Cancelled")):
        row = list(rows[at])
        row[0] += "-C"
        row[1] = status
        rows.insert(at + 1, row)

    def find(fits):
        return next(row for row in rows if fits(row))

    def order(row):
        return [other for other in rows if other[0] == row[0]]

    def alone(row):
        return row[1] == "done" and len(order(row)) == 1

    def move(row, start, stop):
        row[3], row[4] = start, stop

    def nearest(moment):
        """The order nearest in time that can move there without passing another."""
        def at(row):
            return dt.datetime.strptime(row[3], "%d.%m.%Y %H:%M")

        def passes(row):
            low, high = sorted((at(row), moment))
            return any(other[2] == row[2] and low < at(other) < high for other in rows)

        free = [row for row in rows if alone(row) and not passes(row)]
        return min(free, key=lambda row: abs(at(row) - moment))

    move(nearest(dt.datetime(2025, 3, 30, 1)), "30.03.2025 01:30", "30.03.2025 06:15")
    move(nearest(dt.datetime(2024, 10, 27, 1)), "27.10.2024 01:15", "27.10.2024 05:00")
    row = find(lambda row: alone(row) and row[6].lower() == "pkg" and row[3][6:10] == "2023")
    row[6] = "Pck"
    row = find(lambda row: alone(row) and row[7] == "2" and row[3][6:10] == "2024")
    row[7] = "6"
    row = find(lambda row: alone(row) and row[2] == "H-02" and row[3][6:10] == "2024"
               and row[12][-3] != row[12][-2] and row[7] != "6" and row[3][3:5] not in ("10", "11"))
    digits = row[12]
    row[12] = "1" + digits if len(digits) < 6 else digits[0] + "0" + digits[2:]
    head = [
        "Order", "Status", "Machine", "Started", "Finished", "Type", "Work", "Where",
        "Part no.", "Cause", "Labour (h)", "Stop (h)", "Meter (h)", "Extra cost", "Fitter",
        "Remarks",
    ]
    rows.reverse()
    width = len(head)
    lines = [
        ["Quillmoor Oat Works \u2013 maintenance orders"] + [""] * (width - 1),
        ["Homogenisers 1 and 2, as of 27.10.2025"] + [""] * (width - 1),
        [""] * width,
        head,
        *rows,
        ["Total", "", "", "", "", "", "", "", "", "", comma(412.5), "", "", "", "", ""],
    ]

    def cell(text):
        return f'"{text}"' if any(c in text for c in ';"\n') else text

    text = "".join(";".join(map(cell, line)) + "\r\n" for line in lines)
    with open("work-orders.csv", "wb") as out:
        out.write(text.encode("cp1252"))


# ---------------------------------------------------------------------------------------
# A workbook, written by hand: shared strings, two number formats, formulas with their
# last values.

EPOCH = dt.datetime(1899, 12, 30)
STAMP = (1980, 1, 1, 0, 0, 0)
HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
GENERAL, DATE, MOMENT, CLOCK, SPAN = range(5)


class Formula:
    def __init__(self, text, value):
        self.text, self.value = text, value


class Hours:
    """A time of day, or a duration where it is long."""

    def __init__(self, hours, span=False):
        self.hours, self.span = hours, span


class Broken:
    def __init__(self, text):
        self.text = text


def escape(text):
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def serial(moment):
    if not isinstance(moment, dt.datetime):
        moment = dt.datetime(moment.year, moment.month, moment.day)
    return (moment - EPOCH) / DAY


def column(n):
    return (column(n // 26 - 1) if n >= 26 else "") + chr(ord("A") + n % 26)


def cell_xml(ref, value, strings):
    if value is None:
        return ""
    if isinstance(value, Formula):
        inner = f"<f>{escape(value.text)}</f>"
        if isinstance(value.value, Broken):
            return f'<c r="{ref}" t="e">{inner}<v>{escape(value.value.text)}</v></c>'
        if isinstance(value.value, str):
            return f'<c r="{ref}" t="str">{inner}<v>{escape(value.value)}</v></c>'
        return f'<c r="{ref}">{inner}<v>{value.value!r}</v></c>'
    if isinstance(value, Broken):
        return f'<c r="{ref}" t="e"><v>{escape(value.text)}</v></c>'
    if isinstance(value, bool):
        return f'<c r="{ref}" t="b"><v>{int(value)}</v></c>'
    if isinstance(value, dt.datetime):
        return f'<c r="{ref}" s="{MOMENT}"><v>{serial(value)!r}</v></c>'
    if isinstance(value, dt.date):
        return f'<c r="{ref}" s="{DATE}"><v>{int(serial(value))}</v></c>'
    if isinstance(value, Hours):
        style = SPAN if value.span else CLOCK
        return f'<c r="{ref}" s="{style}"><v>{value.hours / 24!r}</v></c>'
    if isinstance(value, str):
        if value not in strings:
            strings.append(value)
        return f'<c r="{ref}" t="s"><v>{strings.index(value)}</v></c>'
    return f'<c r="{ref}"><v>{value!r}</v></c>'


def sheet_xml(rows, merged, strings):
    """Rows by their number; each a list of cells."""
    body = []
    for number, cells in sorted(rows.items()):
        xml = "".join(
            cell_xml(f"{column(n)}{number}", value, strings) for n, value in enumerate(cells)
        )
        body.append(f'<row r="{number}">{xml}</row>')
    merge = ""
    if merged:
        refs = "".join(f'<mergeCell ref="{ref}"/>' for ref in merged)
        merge = f'<mergeCells count="{len(merged)}">{refs}</mergeCells>'
    data = "".join(body)
    return f"{HEAD}<worksheet {MAIN}><sheetData>{data}</sheetData>{merge}</worksheet>"


def write_zip(name, parts):
    with zipfile.ZipFile(name, "w", zipfile.ZIP_DEFLATED) as out:
        for path, text in parts:
            stored = zipfile.ZIP_STORED if path == "mimetype" else zipfile.ZIP_DEFLATED
            out.writestr(zipfile.ZipInfo(path, STAMP), text, compress_type=stored)


def write_xlsx(name, sheets):
    """Sheets: (name, rows by number, merged ranges)."""
    strings = []
    pages = [sheet_xml(rows, merged, strings) for _, rows, merged in sheets]
    shared = "".join(f"<si><t xml:space=\"preserve\">{escape(text)}</t></si>" for text in strings)
    listed = "".join(
        f'<sheet name="{escape(title)}" sheetId="{n}" r:id="rId{n}"/>'
        for n, (title, _, _) in enumerate(sheets, 1)
    )
    count = len(sheets)
    parts = [(f"worksheets/sheet{n}.xml", "worksheet") for n in range(1, count + 1)]
    parts += [("styles.xml", "styles"), ("sharedStrings.xml", "sharedStrings")]
    rels = "".join(
        f'<Relationship Id="rId{n}" Type="{REL}/{kind}" Target="{target}"/>'
        for n, (target, kind) in enumerate(parts, 1)
    )
    types = "".join(
        f'<Override PartName="/xl/{target}" ContentType="application/vnd.openxmlformats-'
        f'officedocument.spreadsheetml.{kind}+xml"/>'
        for target, kind in parts
    )
    formats = "".join(f'<xf numFmtId="{code}"/>' for code in (0, 14, 164, 20, 46))
    write_zip(name, [
        ("[Content_Types].xml",
         f'{HEAD}<Types xmlns="{PACKAGE}/content-types"><Default Extension="rels" ContentType='
         '"application/vnd.openxmlformats-package.relationships+xml"/><Override PartName='
         '"/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.'
         f'spreadsheetml.sheet.main+xml"/>{types}</Types>'),
        ("_rels/.rels",
         f'{HEAD}<Relationships xmlns="{PACKAGE}/relationships"><Relationship Id="rId1" '
         f'Type="{REL}/officeDocument" Target="xl/workbook.xml"/></Relationships>'),
        ("xl/workbook.xml",
         f'{HEAD}<workbook {MAIN} xmlns:r="{REL}"><sheets>{listed}</sheets></workbook>'),
        ("xl/_rels/workbook.xml.rels",
         f'{HEAD}<Relationships xmlns="{PACKAGE}/relationships">{rels}</Relationships>'),
        ("xl/styles.xml",
         f'{HEAD}<styleSheet {MAIN}><numFmts count="1"><numFmt numFmtId="164" '
         f'formatCode="dd.mm.yyyy hh:mm"/></numFmts><cellXfs count="5">{formats}</cellXfs>'
         "</styleSheet>"),
        ("xl/sharedStrings.xml",
         f'{HEAD}<sst {MAIN} count="{len(strings)}" uniqueCount="{len(strings)}">{shared}</sst>'),
        *((f"xl/worksheets/sheet{n}.xml", page) for n, page in enumerate(pages, 1)),
    ])


def packing_log():
    draw = random.Random(31_415)
    head = ["Date", "Machine", "Hours", "Cyl.", "Done", "Found", "Packing no.",
            "Plunger \u00d8 (mm)", "By", "Hours since", "Note"]
    rows = {
        1: ["Packing log \u2013 homogeniser 3, barista line"],
        2: ["kept by the fitters; hours off the panel"],
        4: head,
    }
    meter, day = 29_400.0, dt.date(2023, 1, 9)
    age = {cyl: draw.uniform(0, 1200) for cyl in range(1, 6)}
    life = {cyl: draw.weibullvariate(2500, 2.4) for cyl in age}
    worn = {cyl: draw.uniform(0, 0.015) for cyl in age}
    number = 5
    first = True
    last = {}
    entries = []
    while day < dt.date(2025, 10, 1):
        step = draw.choice([3, 4, 5])
        hours = step * max(60.0, draw.gauss(104, 8))
        fails = [c for c in age if age[c] + hours >= max(life[c], 300)]
        day += dt.timedelta(weeks=step)
        meter += hours
        for cyl in age:
            age[cyl] += hours
            worn[cyl] += hours * 2.1e-6 * draw.uniform(0.6, 1.4)
        who = draw.choice(["RT", "JO", "MS"])
        part = "PK-3040" if day.year < 2024 else "PK-3042"
        for cyl in sorted(age):
            size = None
            if cyl in fails:
                done, found = draw.choice(["changed", "Changed"]), draw.choice(["leaking", "leaks!"])
            elif age[cyl] >= 1900:
                done, found = "changed", "due"
            elif draw.random() < 0.22:
                done, found = draw.choice(["checked", "check"]), draw.choice(["ok", "OK", "ok"])
            else:
                continue
            if done.lower() == "changed":
                size = comma(60.0 - worn[cyl], 3)
                age[cyl] = 0.0
                life[cyl] = draw.weibullvariate(2500, 2.4)
            note = draw.choice(["", "", "", "new spring as well", "slight scoring seen"])
            entries.append([day, round(meter), cyl, done, found, part, size, who, note])
    for day, meter, cyl, done, found, part, size, who, note in entries:
        changed = done.lower() == "changed"
        since = Formula(f"C{number}-C{last[cyl]}", meter - rows[last[cyl]][2]) if cyl in last else None
        written = day
        if number % 9 == 0:
            written = day.strftime("%d.%m.%Y")
        rows[number] = [
            written, "H-03" if first else None, meter, cyl, done, found,
            part if changed else None, size, who, since, note or None,
        ]
        if changed:
            last[cyl] = number
        first = False
        number += 1
    # What is wrong in it, by hand.
    numbers = [n for n in rows if n > 4]
    middle = numbers[len(numbers) // 2]
    rows[middle][2] = rows[middle][2] - 9_000
    rows[middle + 7][3] = 6
    rows[middle + 12][0] = "31.02.2025"
    rows[middle + 20][9] = Formula("C1-C2", Broken("#VALUE!"))
    # Machine and title are merged cells.
    merged = ["A1:K1", f"B5:B{number - 1}"]
    parts = {1: ["Part", "For"], 2: ["PK-3040", "until 2023"], 3: ["PK-3042", "from 2024"]}
    write_xlsx("packing-log.xlsx", [("Log", rows, merged), ("Parts", parts, [])])


# ---------------------------------------------------------------------------------------
# One cell of each kind.


def cells():
    moment = dt.datetime(2025, 3, 30, 1, 30)
    kinds = [
        ("text", " H-01 "), ("whole", 12480), ("fraction", 0.1 + 0.2), ("day", moment.date()),
        ("moment", moment), ("clock", Hours(14.5)), ("span", Hours(26.25, span=True)),
        ("flag", True), ("formula", Formula("1+1", 2)), ("failed", Formula("NA()", Broken("#N/A"))),
        ("", None), ("lines", "two\nlines"),
    ]
    rows = {2: [name for name, _ in kinds], 5: [value for _, value in kinds]}
    write_xlsx("cells.xlsx", [("Cells", rows, [])])
    write_ods("cells.ods", "Cells", kinds)


def write_ods(name, title, kinds):
    office = "urn:oasis:names:tc:opendocument:xmlns"
    spaces = (f'xmlns:office="{office}:office:1.0" xmlns:table="{office}:table:1.0" '
              f'xmlns:text="{office}:text:1.0" xmlns:manifest="{office}:manifest:1.0"')

    def of(value):
        if value is None:
            return "<table:table-cell/>"
        if isinstance(value, Formula):
            if isinstance(value.value, Broken):
                return ('<table:table-cell table:formula="of:=NA()" office:value-type="string" '
                        f'office:string-value=""><text:p>{value.value.text}</text:p></table:table-cell>')
            value = value.value
        if isinstance(value, bool):
            return ('<table:table-cell office:value-type="boolean" office:boolean-value="true">'
                    "<text:p>TRUE</text:p></table:table-cell>")
        if isinstance(value, dt.date):
            text = value.isoformat()
            return (f'<table:table-cell office:value-type="date" office:date-value="{text}">'
                    f"<text:p>{text}</text:p></table:table-cell>")
        if isinstance(value, Hours):
            h, m = int(value.hours), round(value.hours % 1 * 60)
            return (f'<table:table-cell office:value-type="time" office:time-value="PT{h:02}H{m:02}M00S">'
                    f"<text:p>{h}:{m:02}</text:p></table:table-cell>")
        if isinstance(value, str):
            lines = "".join(f"<text:p>{escape(line)}</text:p>" for line in value.split("\n"))
            return f'<table:table-cell office:value-type="string">{lines}</table:table-cell>'
        return (f'<table:table-cell office:value-type="float" office:value="{value!r}">'
                f"<text:p>{value}</text:p></table:table-cell>")

    def row(cells):
        return f"<table:table-row>{cells}</table:table-row>"

    blank = "<table:table-row><table:table-cell/></table:table-row>"
    heads = row("".join(of(head or None) for head, _ in kinds))
    values = row("".join(of(value) for _, value in kinds))
    mime = "application/vnd.oasis.opendocument.spreadsheet"
    write_zip(name, [
        ("mimetype", mime),
        ("META-INF/manifest.xml",
         f'{HEAD}<manifest:manifest {spaces}><manifest:file-entry manifest:full-path="/" '
         f'manifest:media-type="{mime}"/><manifest:file-entry manifest:full-path="content.xml" '
         'manifest:media-type="text/xml"/></manifest:manifest>'),
        ("content.xml",
         f"{HEAD}<office:document-content {spaces}><office:body><office:spreadsheet>"
         f'<table:table table:name="{title}">{blank}{heads}{blank}{blank}{values}</table:table>'
         "</office:spreadsheet></office:body></office:document-content>"),
    ])


if __name__ == "__main__":
    work_orders()
    packing_log()
    cells()
