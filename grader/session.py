"""What a command works with: settings, profile, the model in use and the ledger, each loaded when first asked for."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from grader.errors import LedgerError, ModelError, SettingsError
from grader.ledger import views
from grader.ledger.backup import daily_copy
from grader.ledger.facts import ModelUse
from grader.ledger.place import default_path
from grader.ledger.store import Ledger, now, open_ledger
from grader.settings import Settings, load_settings, settings_file

if TYPE_CHECKING:
    # Models and profiles are read where one is asked for: a weight or a sale need not wait for them.
    from grader.grading.models.model import Model
    from grader.photo.terms import PhotoTerms
    from grader.profile import Profile


@dataclass(frozen=True)
class KnownModel:
    """A model in a list: its folder, ``None`` for the starter, and what lies there, or why it cannot be read."""

    folder: str | None
    model: "Model | ModelError"
    in_use: bool


def _known_model(folder: str | None, label: str | None, in_use: bool) -> KnownModel:
    from grader.grading.models.model_files import load_model, load_model_as

    try:
        if folder and label:
            return KnownModel(folder, load_model_as(Path(folder), label), in_use)
        return KnownModel(folder, load_model(folder and Path(folder)), in_use)
    except ModelError as err:
        return KnownModel(folder, err, in_use)


class Session:
    """One command's work: the command line wins over ``grader.toml``, that over the defaults.

    Parameters
    ----------
    profile : name or TOML file, ``None`` for that of the settings.
    ledger : file, ``None`` for that of the settings, else the one in the platform's data folder.
    dry : neither read nor write any ledger.
    folder : whose settings hold.   clock : tells the time that facts get.
    """

    def __init__(
        self,
        profile: str | None = None,
        ledger: Path | None = None,
        dry: bool = False,
        *,
        folder: Path = Path(),
        clock: Callable[[], str] = now,
    ) -> None:
        self._profile, self._ledger, self.dry = profile, ledger, dry
        self._models: dict[tuple[str | None, str | None], Model] = {}
        self._folder, self._clock = folder, clock

    @cached_property
    def settings(self) -> Settings:
        return load_settings(self._folder)

    @cached_property
    def profile(self) -> "Profile":
        from grader.profile import load_profile

        return load_profile(self.profile_name)

    @property
    def profile_name(self) -> str:
        return self._profile or self.settings.profile

    @cached_property
    def ledger(self) -> Ledger | None:
        """The open ledger, ``None`` on a dry look; once a day a copy of it is kept."""
        if self.dry:
            return None
        ledger = open_ledger(self.ledger_path, self._clock)
        daily_copy(ledger)
        return ledger

    @property
    def ledger_path(self) -> Path:
        return self._ledger or self.settings.ledger or default_path()

    def need_ledger(self, what: str) -> Ledger:
        """Return the ledger of a command that makes no sense without one.

        Raises
        ------
        LedgerError
            A dry look was asked for.
        """
        if self.ledger is None:
            raise LedgerError(f"{what} needs the ledger; leave --no-ledger out")
        return self.ledger

    def model(self, folder: str | Path | None = None) -> "Model":
        """Return the model in that folder, else the one in use, else the starter.

        Raises
        ------
        ModelError
            It cannot be read, or is another one than was taken into use: one line.
        """
        if folder is not None:
            from grader.grading.models.model_files import load_model

            return load_model(None if str(folder) == "starter" else Path(folder))
        used = self.model_use
        which = (None, None) if used is None or used.folder is None else (used.folder, used.label)
        # A table asks for it with every stone.
        if which not in self._models:
            self._models[which] = self._load(*which)
        return self._models[which]

    @staticmethod
    def _load(folder: str | None, label: str | None) -> "Model":
        from grader.grading.models.model_files import load_model, load_model_as

        if folder is None:
            return load_model()
        try:
            return load_model_as(Path(folder), label)
        except ModelError as err:
            raise ModelError(f"{err}; or take another: grader models --use starter") from err

    @property
    def model_use(self) -> ModelUse | None:
        """The model that was last taken into use, ``None`` before the first time and on a dry look."""
        if self.ledger is None:
            return None
        uses = views.model_uses(self.ledger)
        return uses[-1].fact if uses else None

    def use_model(self, name: str) -> ModelUse:
        """Take a model into use from now on, by its folder or as "starter"; a fact more, nothing is overwritten.

        Raises
        ------
        ModelError, LedgerError
            There is no such model, or no ledger: one line.
        """
        from grader.grading.models.model_files import load_model

        self.need_ledger("--use")
        folder = None if name == "starter" else Path(name).resolve()
        return self.note_use(folder, load_model(folder))

    def use_model_before(self) -> ModelUse:
        """Take the model into use that was in use before this one.

        Raises
        ------
        SettingsError, ModelError, LedgerError
            There was none, it cannot be read, or there is no ledger: one line.
        """
        from grader.grading.models.model_files import load_model, load_model_as

        self.need_ledger("--back")
        earlier = self.model_use_before()
        if earlier is None:
            raise SettingsError("no other model was in use before; name one with --use")
        folder = earlier.folder and Path(earlier.folder)
        model = load_model_as(folder, earlier.label) if folder else load_model()
        return self.note_use(folder, model)

    def model_use_before(self) -> ModelUse | None:
        """Return the last use of another model than the one in use, ``None`` where there was none."""
        from grader.grading.models.model_files import load_model

        # Before the first change the starter was in use.
        starter = ModelUse(folder=None, label=load_model().label)
        kept = views.model_uses(self.ledger) if self.ledger else ()
        uses = [starter, *(entry.fact for entry in kept)]
        last = uses[-1]
        earlier = [one for one in uses if (one.folder, one.label) != (last.folder, last.label)]
        return earlier[-1] if earlier else None

    def note_use(self, folder: Path | None, model: "Model") -> ModelUse:
        """Keep in the ledger that a model is in use from now on.

        folder : where it lies, from the root on; ``None`` for the starter.
        """
        use = ModelUse(folder=folder and str(folder), label=model.label)
        self.need_ledger("--use").add(use)
        return use

    def known_models(self) -> list["KnownModel"]:
        """Return the starter, the models that were ever in use, and those in folders here."""
        uses = views.model_uses(self.ledger) if self.ledger else ()
        labels = {entry.fact.folder: entry.fact.label for entry in uses}
        in_use = uses[-1].fact.folder if uses else None
        here = [str(path.parent.resolve()) for path in sorted(Path().glob("*/grade.json"))]
        return [
            _known_model(folder, labels.get(folder), folder == in_use)
            for folder in dict.fromkeys([None, *labels, *here])
        ]

    def with_usual_scale(self, terms: "PhotoTerms") -> "PhotoTerms":
        """Return the terms with the settings' scale where the command line gives none."""
        if terms.mm_per_px is not None or self.settings.mm_per_px is None:
            return terms
        return replace(terms, mm_per_px=self.settings.mm_per_px)

    @property
    def own_files(self) -> list[str]:
        """The person's own files that hold here: settings, and a profile that does not ship."""
        profile = [self.profile_name] if Path(self.profile_name).is_file() else []
        settings = settings_file(".")
        return [*([str(settings)] if settings else []), *profile]

    @property
    def remarks(self) -> tuple[str, ...]:
        """What a person should know of where the ledger lies, where this session made it."""
        opened = self.__dict__.get("ledger")
        return opened.remarks if opened else ()

    def close(self) -> bool:
        """Close what is open; return whether a ledger was that is not the default one."""
        if "ledger" not in self.__dict__ or self.ledger is None:
            return False
        self.ledger.close()
        return self.ledger_path.absolute() != default_path().absolute()
