"""A piece kept whole against the same piece broken: what the ledger, its faces and the prices say of both."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.deals.grades import called_grades
from grader.deals.hauls import open_piece
from grader.deals.sales import held_prices
from grader.errors import GraderError, LedgerError
from grader.face.lines.parting import Partings, partings
from grader.face.measure import measure_face
from grader.face.size import size_class
from grader.grade import MeasuredPiece, facts_of
from grader.grading.features.several_faces import most_lined_face
from grader.grading.proposal import Proposal
from grader.grading.propose import LIGHT_G, propose, propose_piece, scene_estimate
from grader.ledger import stock
from grader.ledger.facts import FaceOfPiece
from grader.ledger.joint import JointPiece
from grader.ledger.piece_faces import faces_of
from grader.ledger.store import Ledger
from grader.looking import stone_again
from grader.looks import last_look
from grader.pieces import faces_seen
from grader.profile import Profile
from grader.report.keep import BreakPlan, PlannedPart
from grader.report.one_piece import Face
from grader.session import Session
from grader.trade.keep import (
    Breakable,
    PartWorth,
    judged,
    plan_near,
    tried,
    usual_plan,
)
from grader.trade.prices import PriceTable, price_of_piece

#: The same piece gives the same answer.
SEED = 20260704
#: So many parts are graded by their own faces, those that come most often; others as the graded one most like them.
MOST_PARTS = 8
#: How far a weight may be off that was guessed, or that was taken wet, as a share. From memory.
GUESSED_SD, WET_SD = 0.15, 0.02
#: Px of the working face that a part's face keeps clear of the line that it parts at: the break is no picture.
CLEAR_PX = 4


def keep_or_break(session: Session, code: str, goal_g: Decimal | None) -> BreakPlan:
    """Return what a piece comes to whole and broken, with its break plan.

    goal_g : what a part should weigh; ``None`` breaks along all that parts it likelier than not.

    Raises
    ------
    LedgerError, GraderError
        It is gone, in a lot, not weighed, has no photo, no price, or no line that parts it: one line.
    """
    ledger = session.need_ledger("keep or break")
    piece = open_piece(ledger, code)
    if piece.net_g is None:
        raise LedgerError(f"{piece.code}: is not weighed yet; grader weigh {piece.code} 612g")
    held = held_prices(ledger, date.today().isoformat())
    if held is None:
        raise LedgerError("no price table holds; grader prices set PRICES.toml keeps one")
    seen = _seen(ledger, piece)
    worst = most_lined_face([face.facts for face in seen])
    measured = measured_face(ledger, seen[worst], session.profile)
    net = partings(measured.face.mask, measured.measurements.lines)
    if len(net.shares) < 2:
        faces = "1 face" if len(seen) == 1 else f"{len(seen)} faces"
        raise GraderError(
            f"{piece.code}: no line seen on {faces} that would part it; keep it whole, or saw it: grader cutplan",
            "no_parting",
        )
    return _Weighing(session, piece, seen, held.table, measured, net).plan(seen[worst].file, goal_g)


def _seen(ledger: Ledger, piece: stock.Piece) -> list[Face]:
    """The faces of a piece, as their photos were shown last."""
    of = tuple(
        FaceOfPiece(f.piece, f.sha256, f.box, f.outline) for f in faces_of(ledger, [piece.uid])
    )
    seen = faces_seen(JointPiece(piece.uid, of), [], ledger)[1]
    if not seen:
        raise GraderError(
            f"{piece.code}: no photo of it is known; name one '{piece.code} front.jpg' and "
            f"grader batch its folder with --haul {piece.code.rpartition('-')[0]}",
            "no_photo",
        )
    return seen


def measured_face(ledger: Ledger, face: Face, profile: Profile) -> MeasuredPiece:
    """Return a face measured again, with its arrays, from what the ledger keeps of it."""
    return stone_again(last_look(face.sha256, ledger), face.stone["id"], profile, ledger)


def part_of_face(
    measured: MeasuredPiece, mask: NDArray[np.bool_], profile: Profile
) -> MeasuredPiece:
    """Return a part of a face, measured as a face of its own; ``mask`` is of the face's shape and not empty."""
    y, x = (np.flatnonzero(mask.any(axis=axis)) for axis in (1, 0))
    window = slice(y[0], y[-1] + 1), slice(x[0], x[-1] + 1)
    face = measured.face
    corner = face.to_photo_px(np.array([[x[0], y[0]]], float))[0]
    part = replace(
        face,
        linear=face.linear[window],
        lab=face.lab[window],
        mask=mask[window],
        origin_px=(float(corner[0]), float(corner[1])),
    )
    found = measure_face(part, profile)
    size = None if face.mm_per_px is None else size_class(part.mask, face.mm_per_px, profile.ovals_mm)  # fmt: skip
    return replace(
        measured, face=part, measurements=found, size_class=size, area_cm2=found.area_cm2, weight_g=None
    )  # fmt: skip


@dataclass(frozen=True)
class _Graded:
    """What is proposed for a part. proposal : ``None`` where its photo has to be taken again."""

    chances: Mapping[str, float]
    size: str | None
    unfamiliar: bool = False


class _Weighing:
    """One piece with all that both ways need."""

    def __init__(
        self,
        session: Session,
        piece: stock.Piece,
        seen: list[Face],
        table: PriceTable,
        measured: MeasuredPiece,
        net: Partings,
    ) -> None:
        self._session, self._piece, self._table = session, piece, table
        self._seen, self._measured, self._net = seen, measured, net
        self._profile, self._model = session.profile, session.model()
        self._without_price: set[str] = set()
        self._everything = tuple(range(len(net.shares)))
        lines = measured.measurements.lines
        sd = GUESSED_SD if piece.guessed else WET_SD if piece.wet else 0.0
        self._stone = Breakable(
            float(piece.net_g),
            net.shares,
            tuple(lines[n].parting_chance for n in net.lines),
            net.parts,
            self._chips_per_g(),
            sd,
        )

    def plan(self, file: str, goal_g: Decimal | None) -> BreakPlan:
        """Return both ways, weighed."""
        stone = self._stone
        planned = usual_plan(stone) if goal_g is None else plan_near(stone, float(goal_g))
        graded = self._graded(planned)
        worths = {cells: self._worth(cells, one) for cells, one in graded.items()}

        def worth_of(cells: tuple[int, ...]) -> PartWorth:
            return worths.get(cells) or worths[self._most_like(cells, worths)]

        ranges = self._session.settings.breaking
        trials = tried(stone, planned, worth_of, ranges, np.random.default_rng(SEED))
        doubts = self._doubts(graded)
        result = judged(trials)
        if doubts:
            result = replace(result, advice="yours to say")
        cells = stone.cells_of(planned)
        return BreakPlan(
            piece=self._piece,
            currency=self._table.currency,
            prices=self._table,
            file=file,
            faces=len(self._seen),
            measured=self._measured,
            net=self._net,
            chances=stone.chances,
            planned=planned,
            goal_g=goal_g,
            parts=tuple(
                PlannedPart(
                    part,
                    stone.grams * sum(stone.shares[c] for c in part),
                    graded[part].chances if part in graded else graded[self._most_like(part, graded)].chances,
                )
                for part in cells
            ),
            whole_grades=graded[self._everything].chances,
            called=self._called() is not None,
            trials=trials,
            result=result,
            doubts=tuple(doubts),
            remarks=tuple(self._remarks()),
        )  # fmt: skip

    def _graded(self, planned: int) -> dict[tuple[int, ...], _Graded]:
        """The piece, and the parts that come most often, each by what is proposed for its own face."""
        flat = PartWorth((1.0,), (0.0,))
        ranges = self._session.settings.breaking
        rng = np.random.default_rng(SEED)
        often: Counter = Counter()
        for way in tried(self._stone, planned, lambda _: flat, ranges, rng).ways:
            for cells in self._stone.cells_of(way.opened):
                often[cells] += way.chance
        # What was planned is told with its grade, however seldom it comes.
        wanted = dict.fromkeys(self._stone.cells_of(planned))
        wanted |= dict.fromkeys(cells for cells, _ in often.most_common())
        parts = [cells for cells in wanted if cells != self._everything][:MOST_PARTS]
        return {self._everything: self._whole()} | {cells: self._part(cells) for cells in parts}

    def _called(self) -> str | None:
        called = called_grades(self._session, [self._piece.uid]).get(self._piece.uid)
        return called and called.grade

    def _whole(self) -> _Graded:
        facts = [face.facts for face in self._seen]
        _, proposal = propose_piece(facts, self._profile, self._model)
        size = max(facts, key=lambda one: one.features["area_cm2"] or 0.0).size_class
        if called := self._called():
            # His own word is certain; what the model thinks of it moves nothing.
            return _Graded({g: float(g == called) for g in self._profile.grades}, size)
        if proposal is None:
            raise GraderError(
                f"{self._piece.code}: its photo has to be taken again, so no grade is known; "
                "photograph it anew, or grader call it",
                "retake",
            )
        return _Graded(proposal.probabilities, size, proposal.unfamiliar is not None)

    def _part(self, cells: tuple[int, ...]) -> _Graded:
        own = np.isin(self._net.cells, np.array(cells) + 1)
        others = (self._net.cells > 0) & ~own
        ring = np.ones((2 * CLEAR_PX + 1,) * 2, np.uint8)
        clear = own & (cv2.dilate(others.view(np.uint8), ring) == 0)
        measured = part_of_face(self._measured, clear if clear.any() else own, self._profile)
        facts = replace(facts_of(measured, self._profile), retake=False)
        proposal: Proposal = propose(
            facts, scene_estimate(facts, self._model), self._profile, self._model
        )
        return _Graded(proposal.probabilities, measured.size_class, proposal.unfamiliar is not None)

    def _most_like(self, cells: tuple[int, ...], among) -> tuple[int, ...]:
        """Of these parts the one that shares most of the stone with another."""

        def alike(other: tuple[int, ...]) -> float:
            area = lambda of: sum(self._net.shares[cell] for cell in of)  # noqa: E731
            return area(set(cells) & set(other)) / area(set(cells) | set(other))

        return max(among, key=alike)

    def _worth(self, cells: tuple[int, ...], graded: _Graded) -> PartWorth:
        share = Decimal(str(round(sum(self._net.shares[cell] for cell in cells), 6)))
        grams = self._piece.net_g * min(share, Decimal(1))
        code = self._piece.code if cells == self._everything else ""
        per_g = tuple(self._per_g(code, grade, grams, graded) for grade in graded.chances)
        return PartWorth(tuple(graded.chances.values()), per_g)

    def _per_g(self, code: str, grade: str, grams: Decimal, graded: _Graded) -> float:
        """What a gram of a part costs, were it of that grade. What has no price counts nothing; what is sold as chips,
        or is too light for anything else, counts as chips."""
        price = price_of_piece(self._table, code, grade, grams, graded.size)
        if price and (code in self._table.by_hand or grams >= Decimal(str(LIGHT_G))):
            return float(price.money / grams)
        sell_as = next((rung.sell_as for rung in self._profile.ladder if rung.grade == grade), None)
        if sell_as == "waste":
            return 0.0
        if price or (sell_as == "chips" and self._table.chips):
            return self._chips_per_g()
        if graded.chances[grade] > 0.01:
            self._without_price.add(grade)
        return 0.0

    def _chips_per_g(self) -> float:
        """By the largest bag, in which they are cheapest; 0 where chips have no price."""
        if not self._table.chips:
            return 0.0
        bag_g, price = self._table.chips[0]
        return float(price / bag_g)

    def _doubts(self, graded: Mapping[tuple[int, ...], _Graded]) -> list[str]:
        """Why no advice is given, whatever the money says."""
        doubts = []
        if any(one.unfamiliar for one in graded.values()):
            doubts.append("the stone, or a part of it, is unlike those that the model knows")
        if self._without_price:
            names = " and ".join(g for g in self._profile.grades if g in self._without_price)
            doubts.append(f"{names} has no price in your table, and counts nothing here")
        return doubts

    def _remarks(self) -> list[str]:
        piece, remarks = self._piece, []
        if piece.guessed:
            remarks.append("its weight is a guess: weigh it before you decide")
        elif piece.wet:
            remarks.append("it was weighed wet; a dry stone weighs a little less")
        if len(self._seen) > 1:
            remarks.append("grades of parts are by the face with most lines alone")
        if piece.code in self._table.by_hand:
            remarks.append("whole it has the price that you set by hand")
        return remarks
