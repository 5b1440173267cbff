"""Is a setting of the whole process made once, and undone by the last who leaves, whoever came first?"""

import pytest

from analysis.models.shared_setting import SharedSetting


@pytest.fixture
def told():
    return []


@pytest.fixture
def setting(told):
    def make():
        told.append("made")
        return lambda: told.append("undone")

    return SharedSetting(make)


def test_the_first_makes_it_and_the_last_undoes_it(setting, told):
    setting.__enter__()
    setting.__enter__()
    setting.__exit__(None, None, None)
    assert told == ["made"]
    setting.__exit__(None, None, None)
    assert told == ["made", "undone"]
    with setting:
        assert told == ["made", "undone", "made"]


def test_it_is_undone_where_what_is_inside_fails(setting, told):
    with pytest.raises(KeyError), setting:
        raise KeyError("inside")
    assert told == ["made", "undone"]
