"""The tables of a record file, and the triggers that keep what was written.

``event`` is the record: rows are added and never changed or removed. ``summary`` is a projection for lists and
search, one row a stream, written in the transaction that adds the events; ``projection`` says by which form of the
summaries it was written. ``number`` counts the events of the whole file in the order in which they were saved.
"""

from __future__ import annotations

from sqlalchemy import (
    CheckConstraint,
    Column,
    Connection,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
    literal_column,
    text,
)

APPLICATION_ID = 0x46507231  # "FPr1": tells a record from any other SQLite file
FORM = 1  # PRAGMA user_version: the form of the tables below

metadata = MetaData()

event_table = Table(
    "event",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("stream", Text, nullable=False),
    Column("sequence", Integer, CheckConstraint("sequence >= 1"), nullable=False),
    Column("type", Text, nullable=False),
    Column("version", Integer, nullable=False),
    Column("client_id", Text, nullable=False),
    Column("at", Text, nullable=False),
    Column("by", Text, nullable=False),
    Column("gauge", Text, nullable=False),
    Column("tool", Text, nullable=False),
    Column("software", Text, nullable=False),
    Column("data", Text, nullable=False),
    Column("previous", Text, nullable=False),
    Column("hash", Text, CheckConstraint("length(hash) = 64"), nullable=False),
    UniqueConstraint("stream", "sequence"),
    UniqueConstraint("client_id"),
    sqlite_strict=True,
)
# the streams in order of their first event, without walking all events
Index("event_first", event_table.c.stream, sqlite_where=event_table.c.sequence == literal_column("1"))

summary_table = Table(
    "summary",
    metadata,
    Column("stream", Text, primary_key=True),
    Column("kind", Text, nullable=False),
    Column("last", Integer, nullable=False),
    Column("number", Integer, nullable=False),
    Column("words", Text, nullable=False),
    Column("data", Text, nullable=False),
    sqlite_strict=True,
)
Index("summary_kind", summary_table.c.kind, summary_table.c.number)

projection_table = Table(
    "projection",
    metadata,
    Column("name", Text, primary_key=True),
    Column("version", Integer, nullable=False),
    sqlite_strict=True,
)

TRIGGERS = (
    """CREATE TRIGGER event_never_changes BEFORE UPDATE ON event
BEGIN SELECT RAISE(ABORT, 'events are never changed'); END""",
    """CREATE TRIGGER event_never_removed BEFORE DELETE ON event
BEGIN SELECT RAISE(ABORT, 'events are never removed'); END""",
    # also stops INSERT OR REPLACE, which removes the old row without asking the trigger above
    """CREATE TRIGGER event_only_added BEFORE INSERT ON event
BEGIN
  SELECT RAISE(ABORT, 'events follow one another')
  WHERE NEW.sequence <> (SELECT coalesce(max(sequence), 0) + 1 FROM event WHERE stream = NEW.stream)
     OR NEW.previous <> coalesce(
          (SELECT hash FROM event WHERE stream = NEW.stream AND sequence = NEW.sequence - 1), '')
     OR EXISTS (SELECT 1 FROM event WHERE client_id = NEW.client_id)
     OR NEW.number <> (SELECT coalesce(max(number), 0) + 1 FROM event);
END""",
)

# Every commit is on the disk before it is acknowledged. None of these is kept in the file.
SETTINGS = (
    "PRAGMA synchronous=EXTRA",
    "PRAGMA foreign_keys=ON",
    "PRAGMA trusted_schema=OFF",
    "PRAGMA recursive_triggers=ON",
)
# Not WAL: SQLite 3.7.0–3.51.2 can corrupt a WAL database. Set last, since it can change the file.
JOURNAL = "TRUNCATE"


def create_tables(connection: Connection) -> None:
    """Make an empty record in the transaction that ``connection`` is in."""
    metadata.create_all(connection, checkfirst=False)
    for statement in TRIGGERS:
        connection.execute(text(statement))
    connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")
    connection.exec_driver_sql(f"PRAGMA user_version={FORM}")


def schema_statements(connection: Connection) -> dict[str, str]:
    """The statements by which the tables, indexes and triggers of this file were made, by name."""
    rows = connection.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL")
    return {str(row[0]): str(row[1]) for row in rows}
