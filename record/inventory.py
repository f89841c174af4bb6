"""Objects and their stones."""

from collections.abc import Iterable
from typing import TypeVar

from sqlalchemy import Connection, insert, or_, select, update

from setstone.record import schema
from setstone.record.clock import now
from setstone.record.entries import ObjectEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.journal import note
from setstone.record.store import Store, new_id
from setstone.record.text import clean, key, operator

_T = TypeVar("_T")

_objects, _stones = schema.objects.c, schema.stones.c
_stone_query = (
    select(
        _stones.id,
        _stones.object_id,
        _objects.name.label("object_name"),
        _stones.position,
        _stones.claimed_as,
    )
    .join(schema.objects)
    .order_by(_objects.id, _stones.id)
)
_present = _stone_query.where(_stones.removed.is_(None))


def add_object(book: Store, name: str, *, description: str = "", by: str = "") -> ObjectEntry:
    """Add an antique piece.

    Parameters
    ----------
    name : str
        Known by it, without regard to case.
    description : str, optional
    by : str, optional
        Who adds it.

    Returns
    -------
    ObjectEntry

    Raises
    ------
    BookError
        When there is one of that name.
    """
    name, description, by = _name(name), _description(description), operator(by, required=False)
    at = now()
    with book.atomic() as connection:
        _require_free_name(connection, name)
        made = connection.execute(
            insert(schema.objects).values(name=name, name_key=key(name), description=description, added=at)
        )
        note(connection, at, by, "add object", name, after={"name": name, "description": description})
        return ObjectEntry(new_id(made), name, description)


def objects(book: Store) -> tuple[ObjectEntry, ...]:
    """Read all objects, in the order they were added.

    Returns
    -------
    tuple of ObjectEntry
    """
    query = select(_objects.id, _objects.name, _objects.description).order_by(_objects.id)
    with book.snapshot() as connection:
        return tuple(ObjectEntry(**row) for row in connection.execute(query).mappings())


def find_object(book: Store, name: str) -> ObjectEntry:
    """Find an object by its name, without regard to case.

    Parameters
    ----------
    name : str

    Returns
    -------
    ObjectEntry

    Raises
    ------
    BookError
        When there is none of that name.
    """
    everything = objects(book)
    for entry in everything:
        if key(entry.name) == key(name):
            return entry
    raise BookError(
        f"There is no object '{name}' in the book '{book.place}'{_which(o.name for o in everything)}."
    )


def correct_object(
    book: Store, entry: ObjectEntry, *, name: str | None = None, description: str | None = None, by: str
) -> ObjectEntry:
    """Correct what is said of an object; the journal keeps what stood before.

    Parameters
    ----------
    entry : ObjectEntry
    name, description : str, optional
        What is not given stays.
    by : str
        Who corrects.

    Returns
    -------
    ObjectEntry
        As it stands now.

    Raises
    ------
    BookError
        When the new name belongs to another object, or somebody corrected the same meanwhile.
    """
    by = operator(by, required=True)
    with book.atomic() as connection:
        query = select(_objects.name, _objects.description).where(_objects.id == entry.id)
        before = dict(_one(connection.execute(query).mappings().first()))
        require_unchanged(
            (entry.name, before["name"], name),
            (entry.description, before["description"], description),
        )
        after = {
            "name": before["name"] if name is None else _name(name),
            "description": before["description"] if description is None else _description(description),
        }
        if after != before:
            _require_free_name(connection, after["name"], entry.id)
            connection.execute(
                update(schema.objects)
                .where(_objects.id == entry.id)
                .values(**after, name_key=key(after["name"]))
            )
            what = "correct object"
            note(connection, now(), by, what, after["name"], object_id=entry.id, before=before, after=after)
    return ObjectEntry(entry.id, **after)


def add_stone(
    book: Store, owner: ObjectEntry, position: str, *, claimed_as: str = "", by: str = ""
) -> StoneEntry:
    """Add a stone of an object.

    Parameters
    ----------
    owner : ObjectEntry
    position : str
        Where it sits, for example ``lid-3``; once in each object, without regard to case.
    claimed_as : str, optional
        What it is said to be: a claim, not a finding.
    by : str, optional
        Who adds it.

    Returns
    -------
    StoneEntry

    Raises
    ------
    BookError
        When the object has a stone of that position.
    """
    position, claimed_as, by = _position(position), _claim(claimed_as), operator(by, required=False)
    at = now()
    with book.atomic() as connection:
        name = connection.execute(select(_objects.name).where(_objects.id == owner.id)).scalar()
        owner_name = str(_one(name))
        _require_free_position(connection, owner.id, position)
        made = connection.execute(
            insert(schema.stones).values(
                object_id=owner.id,
                position=position,
                position_key=key(position),
                claimed_as=claimed_as,
                added=at,
            )
        )
        stone = StoneEntry(new_id(made), owner.id, owner_name, position, claimed_as)
        after = {"position": position, "claimed_as": claimed_as}
        note(connection, at, by, "add stone", stone.full_name, stone_id=stone.id, after=after)
        return stone


def stones(book: Store, owner: ObjectEntry | None = None) -> tuple[StoneEntry, ...]:
    """Read the stones, of one object or of all, in the order they were added.

    Parameters
    ----------
    owner : ObjectEntry, optional

    Returns
    -------
    tuple of StoneEntry
    """
    query = _present if owner is None else _present.where(_stones.object_id == owner.id)
    with book.snapshot() as connection:
        return tuple(StoneEntry(**row) for row in connection.execute(query).mappings())


def find_stone(book: Store, name: str) -> StoneEntry:
    """Find a stone by its position, without regard to case.

    Parameters
    ----------
    name : str
        ``lid-3``, or ``Snuff box/lid-3`` where several objects have a stone of that position.

    Returns
    -------
    StoneEntry

    Raises
    ------
    BookError
        When there is none, or more than one.
    """
    wanted = key(name)
    query = _present.where(
        or_(_stones.position_key == wanted, _objects.name_key + "/" + _stones.position_key == wanted)
    )
    with book.snapshot() as connection:
        found = [StoneEntry(**row) for row in connection.execute(query).mappings()]
        if not found:
            there = _which(s.full_name for s in stones(book))
            raise BookError(f"There is no stone '{name}' in the book '{book.place}'{there}.")
    if len(found) > 1:
        names = " or ".join(f"'{s.full_name}'" for s in found)
        raise BookError(f"Several objects have a stone '{name}'; say {names}.")
    return found[0]


def stone_of_id(connection: Connection, stone_id: int) -> StoneEntry:
    """Read a stone as it stands now, for modules of this room."""
    row = connection.execute(_stone_query.where(_stones.id == stone_id)).mappings().first()
    return StoneEntry(**_one(row))


def correct_stone(
    book: Store, entry: StoneEntry, *, position: str | None = None, claimed_as: str | None = None, by: str
) -> StoneEntry:
    """Correct what is said of a stone; the journal keeps what stood before.

    Parameters
    ----------
    entry : StoneEntry
    position, claimed_as : str, optional
        What is not given stays.
    by : str
        Who corrects.

    Returns
    -------
    StoneEntry
        As it stands now.

    Raises
    ------
    BookError
        When the object has another stone of the new position, or somebody corrected the same meanwhile.
    """
    by = operator(by, required=True)
    with book.atomic() as connection:
        old = stone_of_id(connection, entry.id)
        require_unchanged(
            (entry.position, old.position, position), (entry.claimed_as, old.claimed_as, claimed_as)
        )
        before = {"position": old.position, "claimed_as": old.claimed_as}
        after = {
            "position": old.position if position is None else _position(position),
            "claimed_as": old.claimed_as if claimed_as is None else _claim(claimed_as),
        }
        if after != before:
            _require_free_position(connection, old.object_id, after["position"], entry.id)
            connection.execute(
                update(schema.stones)
                .where(_stones.id == entry.id)
                .values(**after, position_key=key(after["position"]))
            )
            note(
                connection,
                now(),
                by,
                "correct stone",
                old.full_name,
                stone_id=entry.id,
                before=before,
                after=after,
            )
        return stone_of_id(connection, entry.id)


def require_unchanged(*facts: tuple[object, object, object]) -> None:
    """Refuse to write over what somebody else wrote meanwhile, for modules of this room.

    Parameters
    ----------
    *facts : tuple
        What the person saw, what stands in the book now, and what shall stand there; None for what stays.
    """
    for seen, stands, wanted in facts:
        if wanted is not None and stands not in (seen, wanted):
            raise BookError(
                f"Somebody else changed '{seen}' to '{stands}' meanwhile; look at it again, and then correct it."
            )


def remove_stone(book: Store, entry: StoneEntry, *, by: str) -> None:
    """Take a stone out of the book; all that was done on it is kept and `restore_stone` brings it back.

    Parameters
    ----------
    entry : StoneEntry
    by : str
        Who takes it out.
    """
    by, at = operator(by, required=True), now()
    with book.atomic() as connection:
        stone = stone_of_id(connection, entry.id)
        # Its position is free for another stone.
        free = f"{key(stone.position)} (removed {entry.id})"
        connection.execute(
            update(schema.stones).where(_stones.id == entry.id).values(removed=at, position_key=free)
        )
        note(connection, at, by, "remove stone", stone.full_name, stone_id=entry.id)


def restore_stone(book: Store, entry: StoneEntry, *, by: str) -> StoneEntry:
    """Bring a stone back that was taken out.

    Parameters
    ----------
    entry : StoneEntry
    by : str
        Who brings it back.

    Returns
    -------
    StoneEntry

    Raises
    ------
    BookError
        When another stone has taken its position meanwhile.
    """
    by = operator(by, required=True)
    with book.atomic() as connection:
        stone = stone_of_id(connection, entry.id)
        _require_free_position(connection, stone.object_id, stone.position, entry.id)
        connection.execute(
            update(schema.stones)
            .where(_stones.id == entry.id)
            .values(removed=None, position_key=key(stone.position))
        )
        note(connection, now(), by, "restore stone", stone.full_name, stone_id=entry.id)
        return stone


def removed_stones(book: Store) -> tuple[StoneEntry, ...]:
    """Read the stones that were taken out of the book, the one taken out last in front.

    Returns
    -------
    tuple of StoneEntry
    """
    query = _stone_query.where(_stones.removed.is_not(None)).order_by(None)
    with book.snapshot() as connection:
        rows = connection.execute(query.order_by(_stones.removed.desc(), _stones.id.desc())).mappings()
        return tuple(StoneEntry(**row) for row in rows)


def find_removed_stone(book: Store, name: str) -> StoneEntry:
    """Find a stone that was taken out, the last one where there were several of that position.

    Parameters
    ----------
    name : str
        As for `find_stone`.

    Returns
    -------
    StoneEntry

    Raises
    ------
    BookError
        When none of that position was taken out, or of more than one object.
    """
    wanted, everything = key(name), removed_stones(book)
    found = [s for s in everything if wanted in (key(s.position), key(s.full_name))]
    if not found:
        gone = f"; taken out were {', '.join(s.full_name for s in everything[:12])}" if everything else ""
        raise BookError(f"No stone '{name}' was taken out of the book '{book.place}'{gone}.")
    names = list(dict.fromkeys(s.full_name for s in found))
    if len(names) > 1:
        raise BookError(f"Of several objects a stone '{name}' was taken out; say {' or '.join(names)}.")
    return found[0]


def _name(text: str) -> str:
    return clean(text, "The name of the object")


def _description(text: str) -> str:
    return clean(text, "The description of the object", longest=4000, required=False, lines=True)


def _position(text: str) -> str:
    position = clean(text, "The position of the stone", longest=60)
    if "/" in position:
        # It stands between the object's name and the position where a stone is asked for.
        raise BookError(f"The position '{position}' holds a slash; write it without, for example as lid-3.")
    return position


def _claim(text: str) -> str:
    return clean(text, "What the stone is claimed to be", longest=200, required=False)


def _require_free_name(connection: Connection, name: str, but: int | None = None) -> None:
    query = select(_objects.name).where(_objects.name_key == key(name), _objects.id != (but or 0))
    taken = connection.execute(query).scalar()
    if taken is not None:
        raise BookError(f"There is an object '{taken}' in the book already; choose another name.")


def _require_free_position(connection: Connection, owner: int, position: str, but: int | None = None) -> None:
    query = select(_stones.position).where(
        _stones.object_id == owner, _stones.position_key == key(position), _stones.id != (but or 0)
    )
    taken = connection.execute(query).scalar()
    if taken is not None:
        raise BookError(f"The object has a stone '{taken}' already; choose another position.")


def _one(found: _T | None) -> _T:
    if found is None:
        raise BookError("The entry is not of this book; read it from the book again.")
    return found


def _which(names: Iterable[str]) -> str:
    some = list(names)
    if not some:
        return "; it holds none yet, add it first"
    return "; there are " + ", ".join(some[:12]) + (", …" if len(some) > 12 else "")
