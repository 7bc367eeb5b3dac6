"""Rows of figures, kept in one file for each area, and the first page that sums them up.

A row that a run did not measure stays in its file as it was, with its own date and machine.
"""

import datetime
import os
import platform
import re
from dataclasses import dataclass, fields
from importlib.metadata import version
from pathlib import Path

FOLDER = Path(__file__).parent / "figures"
FIRST_PAGE = Path(__file__).parent / "FIGURES.md"
NO_ANSWER = "–"
LIBRARIES = ("numpy", "opencv-python-headless", "scikit-learn")
#: Whose photographs the rows speak of, by what their column says; none of them is in the repository.
PHOTOGRAPHS = {
    "photographs of polished stones": "polished stones: pictures of Chow & Reyes-Aldasoro 2022, Minerals 12(1):60, doi "
    "10.3390/min12010060, repository hybchow/gems; regions labelled by eye for these figures",
    "768 x 768 px": "768 x 768 px: cracked concrete of Ruiz et al. 2021, Ambiente Construído 21, from the public code "
    "that goes with it (MIT); marked there",
    "224 x 224 px": "224 x 224 px: brick and stone walls of Dais, Bal, Smyrou & Sarhosis 2021, Automation in "
    "Construction 125:103606, repository dimitrisdais/crack_detection_CNN_masonry; marked there",
}
#: Areas in the order of the first page: title, and the figures that stand there for the area, each as
#: (start of the figure, start of what it is measured on, words of the first page).
AREAS = {
    "regions": (
        "Stones, regions and shares",
        (
            ("region IoU, pixels sure by eye", "photographs", "region IoU on photographs"),
            ("region IoU", "held-out", "region IoU on renders"),
            ("outline IoU, missed", "photographs", "outline IoU on photographs"),
            ("interval of the shares holds the true share", "photographs", "intervals hold on photographs"),
            ("outline IoU, missed", "held-out", "outline IoU on renders"),
            ("stones invented or missed, in 100 stones", "held-out", "stones invented or missed in 100"),
            ("share error of the stones found, points", "held-out", "share error on renders, points"),
            ("glare IoU, photos with 2 to 30 % of it", "held-out", "glare IoU on renders"),
        ),
    ),
    "lines": (
        "Lines, cracks and sound stone",
        (
            ("crack F1 at 5 px, photos with cracks", "held-out", "crack F1 at 5 px on renders"),
            ("cracks alone, F1 at 2 px", "held-out", "crack F1 at 2 px on renders"),
            ("cracks alone, F1 at 2 px", "photographs of cracked surfaces, 768", "crack F1 at 2 px on photographs"),
            ("length of cracks", "", "crack length off by %"),
            ("healed cracks, seams and webs called", "", "healed lines called crack"),
            ("band borders called crack", "", "band borders called crack"),
            ("sound stones left alone, share", "", "sound stones left alone"),
            ("largest part of faces that", "", "largest part of divided faces off by points"),
        ),
    ),
    "bands": (
        "Bands",
        (
            ("bands: continuity", "found", "continuity against the truth"),
            ("bands: offsets, F1", "found", "F1 of bands offset by faults"),
        ),
    ),
    "scene": (
        "The scene",
        (
            ("scenes against near misses, all: AUC", "", "near misses, AUC"),
            ("hidden scene found, share with IoU ≥ 0.5", "", "hidden scene found"),
            ("score after any turn", "", "points off after a turn"),
            ("every landscape against the same pieces scrambled, with s", "", "scrambled pieces with a scale, AUC"),
        ),
    ),
    "grading": (
        "Grading and sellers",
        (
            ("starter against the written rules: quadratic", "", "starter and rules, kappa"),
            ("grade sets: share that hold the call, 20 calls", "", "grade sets that hold the call"),
            ("scene from comparisons: right on fresh pairs after 30", "", "scene right after 30 comparisons"),
            ("sellers of left-out makes: below their own repeat, 20", "", "below a seller's own repeat after 20 calls"),
            ("sellers of left-out makes: below their own repeat, 120", "", "below it after 120 calls"),
            ("ask: kappa after 20 asked less 30 at random", "", "kappa of 20 asked less 30 at random"),
        ),
    ),
    "unfamiliar": (
        "Unfamiliar stones, and what is no stone",
        (
            ("stones taken for unfamiliar", "faces", "stones taken for unfamiliar"),
            ("other things noticed: all drawn", "", "drawn other things noticed"),
            ("other things noticed", "photographs: masonry", "photographed masonry noticed"),
            ("other things noticed", "photographs: concrete", "photographed concrete noticed"),
        ),
    ),
    "light": (
        "Light and colour",
        (
            ("colours by chart:", "", "colours by chart, CIEDE2000"),
            ("drift of a share between lights, white", "", "drift of a share between lights, points"),
        ),
    ),
    "card": (
        "The photo card",
        (
            ("whole card found, share", "", "card found"),
            ("length on the face, height typed, EXIF:", "", "length on the face off by %"),
        ),
    ),
    "state": (
        "State and verdict",
        (
            ("refused, shaken, 1.5 limits, share", "", "shaken photos refused"),
            ("refused, as rendered, share", "", "good photos refused"),
            ("wet and dry photo of a stone both told right, share", "", "wet and dry both right"),
            ("patchy told, share", "", "half dried noticed"),
        ),
    ),
    "same_face": (
        "Several photos of one face",
        (
            ("two photos of one face: misfit", "", "misfit of two photos, px"),
            ("two photos of two faces taken for one", "", "two faces taken for one"),
        ),
    ),
    "cut_plan": (
        "Cut plan",
        (
            ("cut plan: templates / best of every", "", "templates, of the most possible"),
            ("cut plan: most pieces, R, mean / most", "", "time of a plan, R"),
            ("cut plan: known counts of rounds reached", "a square", "known packings in a square"),
        ),
    ),
    "keep": (
        "Keep whole or break",
        (
            ("80 % range holds what the broken", "stones of left-out", "range holds what broken stones bring"),
            ("money by the advice, else by its mean", "stones of left-out", "money by the advice / the better habit"),
        ),
    ),
    "bad_pictures": (
        "Bad pictures",
        (
            ("bad pictures that end otherwise", "", "bad pictures that end otherwise than read or told"),
            ("most memory, GB", "bad pictures", "most memory for one, GB"),
        ),
    ),
    "deals": (
        "From graded stones to money",
        (
            ("haul list, s", "", "list of 10,000 pieces, s"),
            ("weigh, s", "", "weigh, s"),
            ("sell, s", "", "sell, s"),
            ("undo, s", "", "undo, s"),
            ("history, s", "", "history, s"),
            ("labels, s", "", "500 labels, s"),
            ("haul report, s", "", "report of 500 pieces, s"),
            ("export, s", "", "export of 500 pieces, s"),
            ("demo, s", "", "invented season, s"),
            ("lots: given away, share", "", "given away in lots, share"),
        ),
    ),
    "speed": (
        "Speed",
        (("whole check of 12 megapixels, R", "", "whole check, R"),),
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Row:
    """One figure; every entry as it is printed."""

    figure: str
    measured_on: str
    n: str
    ours: str
    range95: str = NO_ANSWER
    floor: str = ""
    yardstick: str = NO_ANSWER
    yardstick_bright: str = NO_ANSWER


@dataclass(frozen=True)
class Dated(Row):
    """A row in its file: when and on what machine it was measured."""

    date: str = ""
    machine: str = ""


HEADINGS = (
    "figure",
    "measured on",
    "n",
    "ours",
    "95 % range",
    "floor",
    "yardstick",
    "white from the brightest tenth",
    "date",
    "machine",
)
COLUMNS = dict(zip([field.name for field in fields(Dated)], HEADINGS, strict=True))


def machine() -> str:
    """Return cores, Python and library versions; nothing that names the machine."""
    libraries = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    python = platform.python_version()
    return f"{os.cpu_count()} cores, {platform.machine()}, Python {python}, {libraries}"


def write(area: str, rows: list[Row], folder: Path = FOLDER, page: Path = FIRST_PAGE) -> None:
    """Write the rows into their area's file, each in the place that it had, new ones last; and the first page anew."""
    today, here = datetime.date.today().isoformat(), machine()
    path = folder / f"{area}.md"
    table = {(row.figure, row.measured_on): row for row in read(path)}
    table |= {
        (row.figure, row.measured_on): Dated(**vars(row), date=today, machine=here) for row in rows
    }
    path.write_text(area_page(AREAS[area][0], list(table.values())), "utf-8")
    page.write_text(first_page(folder), "utf-8")


def area_page(title: str, rows: list[Dated]) -> str:
    """Return the file of one area. What all rows share of date and machine stands once in its head; where there are
    several machines, the rows name them by letters.
    """
    dates = sorted({row.date for row in rows})
    machines = list(dict.fromkeys(row.machine for row in rows))
    letters = {name: chr(ord("a") + n) for n, name in enumerate(machines)}
    head = [f"- date: {dates[0]}"] if len(dates) == 1 else []
    head += [f"- machine {letters[name]}: {name}" for name in machines] if len(machines) > 1 else [
        f"- machine: {name}" for name in machines
    ]  # fmt: skip
    left_out = {"date"} if len(dates) == 1 else set()
    left_out |= {"machine"} if len(machines) == 1 else set()
    cells = [vars(row) | {"machine": letters[row.machine]} for row in rows]
    table = _table(cells, [name for name in COLUMNS if name not in left_out])
    return (
        f"# {title}\n\nWritten with `--write`; what the figures mean: [README](../README.md). "
        f"All areas: [FIGURES](../FIGURES.md).\n\n"
        + "\n".join(head)
        + "\n\n"
        + _photographs(rows)
        + table
    )


def _photographs(rows: list[Dated]) -> str:
    """Whose photographs the rows speak of, a paragraph; nothing where they speak of none."""
    whose = [
        text for words, text in PHOTOGRAPHS.items() if any(words in row.measured_on for row in rows)
    ]
    return f"Photographs (none is in the repository): {'. '.join(whose)}.\n\n" if whose else ""


def as_table(rows: list[Row]) -> str:
    """Return the rows as a table in Markdown, without the columns that are empty."""
    return _table([vars(row) for row in rows], [field.name for field in fields(Row)])


def _table(cells: list[dict[str, str]], names: list[str]) -> str:
    used = [name for name in names if any(row[name] not in ("", NO_ANSWER) for row in cells)]
    lines = [[COLUMNS[name] for name in used], ["---"] * len(used)]
    lines += [[row[name] for name in used] for row in cells]
    return "".join("| " + " | ".join(line) + " |\n" for line in lines)


def read(path: Path) -> list[Dated]:
    """Return the rows of an area's file; none where there is no file."""
    lines = path.read_text("utf-8").splitlines() if path.exists() else []
    head = dict(line[2:].split(": ", 1) for line in lines if line.startswith("- "))
    table = [
        [cell.strip() for cell in line.strip().strip("|").split("|")]
        for line in lines
        if line.startswith("|")
    ]
    if not table:
        return []
    names = {heading: name for name, heading in COLUMNS.items()}
    rows = [
        {names[heading]: cell for heading, cell in zip(table[0], cells, strict=True)}
        for cells in table[2:]
    ]
    return [
        Dated(
            **row
            | {
                "date": row.get("date") or head["date"],
                "machine": head[f"machine {row['machine']}" if "machine" in row else "machine"],
            }
        )
        for row in rows
    ]


def holds(ours: str, floor: str) -> bool | None:
    """Return whether a figure keeps its bound; ``None`` where it has none that numbers can be held to.

    A bare bound counts before an aim. Where the figure is several numbers, as a median and a worst one, each is held
    to its own bound, or all to the one that there is.
    """
    bound = floor.partition(", aim")[0].removeprefix("aim ")
    measured = ours.partition("; ")[2 if bound.startswith("holds") else 0]
    measured = re.sub(r"\([^)]*\)|95 % under", "", measured)
    numbers = [float(n) for n in re.findall(r"[-+]?\d+(?:\.\d+)?", measured)]
    bounds = [(kind, float(n)) for kind, n in re.findall(r"([≥≤])\s*(-?\d+(?:\.\d+)?)", bound)]
    between = re.fullmatch(r"(\d[\d.]*)(?:–| to )(\d[\d.]*)", bound)
    if between:
        bounds = [("≥", float(between[1])), ("≤", float(between[2]))]
        numbers *= 2
    elif re.fullmatch(r"\d+", bound):
        bounds = [("=", float(bound))] * len(numbers)
    if not bounds or not numbers:
        return None
    if len(bounds) == 1 and "/" not in bound:
        bounds *= len(numbers)
    return all(
        {"≥": number >= limit, "≤": number <= limit, "=": number == limit}[kind]
        for number, (kind, limit) in zip(numbers, bounds, strict=False)
    )


def first_page(folder: Path = FOLDER) -> str:
    """Return the page that says of each area what holds and what does not."""
    lines, kept, broken = [], 0, 0
    for area, (title, headlines) in AREAS.items():
        rows = read(folder / f"{area}.md")
        answers = [holds(row.ours, row.floor) for row in rows]
        kept, broken = kept + answers.count(True), broken + answers.count(False)
        words = {True: [], False: []}
        for figure, measured_on, short in headlines:
            row = headline(rows, figure, measured_on)
            answer = row and holds(row.ours, row.floor)
            if answer is not None:
                words[answer].append(f"{short} {re.split(' [(]|; ', row.ours)[0]} ({row.floor})")
        of = f"{answers.count(True)} of {answers.count(True) + answers.count(False)}"
        lines.append(
            f"| [{title}](figures/{area}.md) | {of} | {'; '.join(words[True]) or NO_ANSWER} "
            f"| {'; '.join(words[False]) or NO_ANSWER} |"
        )
    return (
        "# Figures\n\n"
        f"What holds and what does not. Of {kept + broken} figures with a bound, {kept} keep it. The bound stands in "
        "brackets; an aim is what is worked towards. R is the time in which 12 megapixels are decoded and turned to "
        "Lab. Written with each `--write`; what the figures mean: [README](README.md).\n\n"
        "| area | bounds kept | holds | does not hold |\n| --- | --- | --- | --- |\n"
        + "\n".join(lines)
        + "\n"
    )


def headline(rows: list[Dated], figure: str, measured_on: str) -> Dated | None:
    """Return the row of that figure, else of the only one that begins so, measured on what begins so."""
    rows = [row for row in rows if row.measured_on.startswith(measured_on)]
    exact = [row for row in rows if row.figure == figure]
    found = exact or [row for row in rows if row.figure.startswith(figure)]
    return found[0] if len(found) == 1 else None
