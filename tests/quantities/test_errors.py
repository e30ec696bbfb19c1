"""What an error's type means to a browser and to a shell: every type under the root is walked."""

import importlib
import pkgutil
from collections.abc import Iterator
from operator import attrgetter

import pytest

import heavyspot
from heavyspot.quantities.errors import (
    EXIT,
    STATUS,
    DoneBefore,
    HeavyspotError,
    exit_of,
    status_of,
)

for found in pkgutil.walk_packages(heavyspot.__path__, "heavyspot."):
    if ".migrations." not in found.name and "sound_card" not in found.name:
        importlib.import_module(found.name)


def kinds(of: type[HeavyspotError] = HeavyspotError) -> Iterator[type[HeavyspotError]]:
    yield of
    for kind in of.__subclasses__():
        yield from kinds(kind)


# RFC 9110, 15.5 and 15.6: what each status means
MEANT = {401, 403, 404, 409, 422, 503}


@pytest.mark.parametrize("kind", sorted(set(kinds()), key=attrgetter("__name__")))
def test_every_type_has_a_status_and_an_exit_code(kind):
    fault = kind("What is wrong.", remedy="Do this.")
    assert status_of(fault) in MEANT
    assert exit_of(fault) in ({0} if kind is DoneBefore else {2, 3, 4})  # what is done is done
    assert fault.remedy == "Do this."


def test_the_tables_name_no_type_twice_and_only_ours():
    assert all(issubclass(k, HeavyspotError) for k in (*STATUS, *EXIT))
    assert STATUS[HeavyspotError] == 422 and EXIT[HeavyspotError] == 2


def test_a_type_that_is_not_named_has_its_parent_s():
    class Gone(heavyspot.NotThere):
        """Not in the tables."""

    fault = Gone("It is gone.", remedy="")
    assert (status_of(fault), exit_of(fault)) == (404, 3)
