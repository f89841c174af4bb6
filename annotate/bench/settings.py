"""What a person sets once: kept by the platform's convention, and none of it is needed to begin."""

import getpass
import json
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import platformdirs

_RECENT = 8


@dataclass(frozen=True)
class Settings:
    """What a person set.

    Parameters
    ----------
    operator : str
        Who works at this computer; stands beside each decision.
    books_folder : str
        Where new books are made.
    camera_folder : str
        Where the camera's program saves its pictures.
    camera : str
        The camera looked through last: its number, address or file.
    recent : tuple of str
        Folders of the books opened last, the latest first.
    """

    operator: str = ""
    books_folder: str = ""
    camera_folder: str = ""
    camera: str = "0"
    recent: tuple[str, ...] = ()

    @property
    def by(self) -> str:
        """The operator, or the login name where none was set."""
        return self.operator or _login()

    @property
    def new_books(self) -> Path:
        """Where new books are made: as set, else a folder among the person's documents."""
        return (
            Path(self.books_folder) if self.books_folder else platformdirs.user_documents_path() / "setstone"
        )

    @property
    def recent_books(self) -> tuple[Path, ...]:
        """Books opened last that are still there."""
        return tuple(path for path in map(Path, self.recent) if _is_folder(path))

    def opened(self, folder: Path) -> "Settings":
        """Return settings that remember a book as the one opened last.

        >>> Settings(recent=("/a", "/b")).opened(Path("/b")).recent
        ('/b', '/a')
        """
        others = [path for path in self.recent if path != str(folder)]
        return replace(self, recent=(str(folder), *others)[:_RECENT])


def settings_file() -> Path:
    """Where settings are kept, for example ``~/.config/setstone/settings.json``."""
    return platformdirs.user_config_path("setstone", appauthor=False) / "settings.json"


def read_settings(file: Path | None = None) -> Settings:
    """Read the settings.

    Parameters
    ----------
    file : Path, optional
        Another file than `settings_file`.

    Returns
    -------
    Settings
        Empty ones where there is no file, or one that cannot be read.
    """
    try:
        kept = json.loads((file or settings_file()).read_text(encoding="utf-8"))
        return Settings(
            operator=str(kept.get("operator", "")),
            books_folder=str(kept.get("books_folder", "")),
            camera_folder=str(kept.get("camera_folder", "")),
            camera=str(kept.get("camera", "0")),
            recent=tuple(map(str, kept.get("recent", ()))),
        )
    except (OSError, ValueError, AttributeError, TypeError, RecursionError):
        return Settings()


def keep_settings(settings: Settings, file: Path | None = None) -> None:
    """Keep the settings; where they cannot be written, they hold until the program ends."""
    file = file or settings_file()
    new = file.with_suffix(".new")
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        new.write_text(json.dumps(asdict(settings), indent=1), encoding="utf-8")
        new.replace(file)
    except OSError:
        return


def _is_folder(path: Path) -> bool:
    try:
        return path.is_dir()
    except OSError:  # a name longer than any can be
        return False


def _login() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a machine without accounts
        return ""
