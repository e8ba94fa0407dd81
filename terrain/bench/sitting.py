"""One run of the bench: the desk, the site file and who looks on.

It lives in the server, so that a page that is closed, loaded again or opened twice shows the same.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from terrain.bench import underneath
from terrain.bench.desk import Desk, Step
from terrain.bench.keeping import Aside, SiteFile
from terrain.bench.sketch import Sketch
from terrain.bench.underneath import FilesRead
from terrain.errors import InputError
from terrain.inputs.site import read_site
from terrain.outputs.site_text.joined_works import Joined, joined
from terrain.outputs.site_text.works_text import Entry, works_changed
from terrain.plan.siting.reading import Inputs, read_inputs

#: Told of every change: what was done.
Looker = Callable[[str], None]


@dataclass(frozen=True)
class Saved:
    """What saving did: the backup of what stood there before, if any was made, and a sentence."""

    backup: Path | None
    said: str


class Sitting:
    """A site on the bench.

    Parameters
    ----------
    inputs : Inputs
        Read from the site file.
    file : SiteFile
        That same file, read before `inputs` were.
    read : FilesRead
        What else it names, as it was before `inputs` were read.
    """

    def __init__(self, inputs: Inputs, file: SiteFile, read: FilesRead) -> None:
        self.file = file
        self._read = read
        self._old_map = False
        self.desk = Desk(inputs)
        self.sketch = Sketch(inputs)
        self.lookers: list[Looker] = []
        #: What an earlier sitting left unsaved, until it is taken up or left.
        self.left: Aside | None = file.set_aside()

    @classmethod
    def of(cls, path: Path, progress: Callable[[str], None] = lambda what: None) -> Sitting:
        """Open a site file.

        Raises
        ------
        InputError
            For the first thing in it that is wrong.
        """
        file = SiteFile(path)
        read = FilesRead.of(file.path)
        inputs = read_inputs(path, progress)
        progress("Laying out the works")
        return cls(inputs, file, read)

    @property
    def inputs(self) -> Inputs:
        """What was read of the site."""
        return self.desk.inputs

    def underneath(self) -> str:
        """What is to be told of the ground, layers and rain where they are not as they were read,
        or not as the map was drawn; "" where they are."""
        return underneath.words(self._read.changed(), self._old_map)

    @property
    def text(self) -> str:
        """The site file as it would be saved."""
        with self.inputs.told():
            return works_changed(self.file.text, self.desk.stated, self.desk.now.entries,
                                 self.inputs.site.units)

    def do(self, change: Callable[[Desk], Step]) -> Step:
        """Change something on the desk, and let all who look on know.

        Raises
        ------
        InputError
            If it cannot be; all is as it was.
        """
        step = change(self.desk)
        self._told(step.said)
        return step

    def keep_aside(self) -> None:
        """Write down what is not saved, lest a fault of the machine lose it."""
        if self.desk.unsaved:
            self.file.keep_aside(self.text)
        elif self.left is None:
            self.file.forget_aside()

    def take_up(self) -> None:
        """Go on with what an earlier sitting left unsaved.

        Raises
        ------
        InputError
            If it cannot be read or laid out any more; it stays set aside.
        """
        if self.left is None:
            return
        with self.inputs.told():
            works = read_site(self.file.path, self.left.text).works
        known = {work.name for work in self.desk.stated}
        self.desk.begin([Entry(work.name if work.name in known else None, work)
                         for work in works], "take up what was not saved")
        self.left = None
        self._told("take up what was not saved")

    def leave(self) -> None:
        """Begin without what an earlier sitting left unsaved."""
        if self.left is None:  # another page has answered already
            return
        self.left = None
        self.file.forget_aside()
        self.keep_aside()  # what was changed meanwhile was written down there too

    def save(self) -> Saved:
        """Save to the site file.

        Raises
        ------
        Changed
            If another program wrote it meanwhile.
        InputError
            If what would be saved would not be read back as it is on the desk, or cannot be
            written.
        """
        if not self.desk.unsaved and not self.file.changed():  # else it would push out a backup
            return Saved(None, f"{self.file.path.name} says so already.")
        text = self.text
        self._refuse_unlike(text)
        backup = self.file.save(text)
        self.desk.saved()
        if self.left is None:
            self.file.forget_aside()
        else:  # nobody has said yet what is to become of it
            self.file.forget_own()
        self._told("save")
        return Saved(backup, f"Saved to {self.file.path.name}. What stood there before is in "
                             f"{backup.parent.name}/{backup.name}.")

    def _refuse_unlike(self, text: str) -> None:
        """Refuse a text that would be read as other works than those on the desk."""
        with self.inputs.told():
            read = read_site(self.file.path, text)
        if list(read.works) != self.desk.works:
            raise InputError(str(self.file.path), "the works would not be read back as they are "
                             "on the bench", "Nothing was saved; what is on the bench is kept "
                             "beside the file. Please report this")

    def join(self) -> Joined:
        """Read the site file that another program wrote, and put what was changed here on it.

        Works changed on one side only are as on that side; of those changed on both, what stands
        in the file is taken, and they are named.

        Raises
        ------
        InputError
            If the file cannot be read, or the works of both cannot lie beside each other; all is
            as it was.
        """
        found: list[Joined] = []

        def both(inputs: Inputs) -> Sequence[Entry]:
            found.append(joined(self.desk.stated, self.desk.now.entries, inputs.site.works))
            return found[0].entries
        self._begin_anew(both)
        self._told("join with the file")
        return found[0]

    def take_theirs(self) -> None:
        """Begin anew with the site file as another program wrote it.

        Raises
        ------
        InputError
            If it cannot be read or laid out; all is as it was.
        """
        self._begin_anew(lambda inputs: None)
        self._told("take the file's")

    def _begin_anew(self, entries: Callable[[Inputs], Sequence[Entry] | None]) -> None:
        file = SiteFile.read(self.file.path)
        before, read = self.inputs, FilesRead.of(self.file.path)
        try:
            inputs = read_inputs(self.file.path)
            self.desk = Desk(inputs, entries(inputs))
        except BaseException:
            file.close()
            raise
        file.follow(self.file)
        self.file.close()
        self.sketch, self.file, self._read = Sketch(inputs), file, read
        self._old_map = self._old_map or not underneath.drawn_alike(before, inputs)

    def _told(self, said: str) -> None:
        for looker in list(self.lookers):
            looker(said)
