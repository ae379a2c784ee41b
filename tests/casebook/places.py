"""Places for casebooks under test: folders always, a PostgreSQL server where ``PIANOLAB_POSTGRES`` names one.

On the server every casebook has a schema of its own, so that many tests share one database.
"""

import os
import shutil
from pathlib import Path
from uuid import uuid4

import pytest
import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.migrate import VERSIONS
from pianolab.casebook.server import parse_url

VARIABLE = "PIANOLAB_POSTGRES"


class Folders:
    """Casebooks in folders below one."""

    kind = "sqlite"

    def __init__(self, root: Path) -> None:
        self.root = root

    def new(self, name: str) -> Path:
        return self.root / name

    def copy(self, place: Path, name: str) -> Path:
        shutil.copytree(place, self.root / name)
        return self.root / name

    def close(self) -> None:
        """Folders go with pytest's own."""


class Schemas:
    """Casebooks in schemas of the server's database; all are dropped at the end."""

    kind = "postgresql"

    def __init__(self, url: str) -> None:
        self.url = url
        self.engine = sa.create_engine(parse_url(url), isolation_level="AUTOCOMMIT")
        self._places: dict[str, str] = {}

    def new(self, name: str) -> str:
        """URL of an empty schema; the same name means the same one."""
        if name not in self._places:
            schema = f"test_{uuid4().hex}"
            self.do(f"CREATE SCHEMA {schema}")
            url = parse_url(self.url).update_query_dict({"options": f"-csearch_path={schema}"})
            self._places[name] = url.set(drivername="postgresql").render_as_string(hide_password=False)
        return self._places[name]

    def copy(self, place: str, name: str) -> str:
        target = self.new(name)
        copy_schema(self.engine, schema_of(place), schema_of(target))
        return target

    def do(self, *statements: str) -> None:
        with self.engine.connect() as connection:
            for statement in statements:
                connection.exec_driver_sql(statement)

    def close(self) -> None:
        with self.engine.connect() as connection:
            query = "SELECT nspname FROM pg_namespace WHERE nspname = ANY(%(mine)s) OR nspname ~ %(copies)s"
            oids = "SELECT oid FROM pg_namespace WHERE nspname = ANY(%(mine)s)"
            mine = [schema_of(place) for place in self._places.values()]
            numbers = connection.exec_driver_sql(oids, {"mine": mine}).scalars().all()
            copies = "^pianolab_copy_(" + "|".join(map(str, numbers)) + ")_"
            for name in connection.exec_driver_sql(query, {"mine": mine, "copies": copies}).scalars().all():
                connection.exec_driver_sql(f'DROP SCHEMA "{name}" CASCADE')
        self.engine.dispose()


def schema_of(place: str) -> str:
    """The schema that a URL of `Schemas` leads to."""
    return str(parse_url(place).query["options"]).partition("=")[2]


def copy_schema(engine: sa.Engine, source: str, target: str) -> None:
    """The tables and rows of one schema in another that is empty."""
    with engine.connect().execution_options(isolation_level="READ COMMITTED") as connection:
        connection.exec_driver_sql(f"SET LOCAL search_path = {target}")
        tables.metadata.create_all(connection, checkfirst=False)
        connection.exec_driver_sql("CREATE TABLE alembic_version (version_num varchar(32) PRIMARY KEY)")
        connection.exec_driver_sql(f"INSERT INTO alembic_version VALUES ('{VERSIONS[-1]}')")
        for table in tables.metadata.sorted_tables:
            names = ", ".join(f'"{column.name}"' for column in table.columns)
            connection.exec_driver_sql(
                f'INSERT INTO "{table.name}" ({names}) SELECT {names} FROM {source}."{table.name}"'
            )
        connection.exec_driver_sql(
            "SELECT setval(pg_get_serial_sequence('change', 'seq'), max(seq)) FROM change"
        )
        connection.commit()


def server_url() -> str:
    """The server's URL; without one the test is skipped, which CI counts as failed."""
    url = os.environ.get(VARIABLE, "")
    if not url:
        pytest.skip(f"no PostgreSQL server in {VARIABLE}")
    return url
