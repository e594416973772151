"""The installed add-on where it cannot run: a box says what to do, and goes with the add-on."""

import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon.packaging import legacy_wheels, start  # noqa: E402
from sheetstack.addon.packaging.legacy_wheels import CannotStartError  # noqa: E402


class Layout:
    """Takes note of what is drawn."""

    def __init__(self):
        self.lines, self.buttons, self.alert = [], [], False

    def box(self):
        return self

    def column(self, **_):
        return self

    def separator(self):
        self.lines.append("")

    def label(self, text="", **_):
        self.lines.append(text)

    def operator(self, name, **_):
        self.buttons.append(type("Button", (), {"name": name})())
        return self.buttons[-1]


def test_a_zip_for_another_python_names_the_other_zip(tmp_path):
    (tmp_path / "wheels").mkdir()
    (tmp_path / "wheels" / "shapely-2.0.6-cp27-cp27m-win32.whl").write_bytes(b"")
    (tmp_path / "wheels" / "tomlkit-0.13.0-py3-none-any.whl").write_bytes(b"")
    with pytest.raises(CannotStartError, match=r"no library 'shapely'.*install the other zip"):
        legacy_wheels.make_importable(tmp_path)
    assert not list(tmp_path.glob("unpacked*"))


def test_lines_of_the_box_fit_and_hold_every_word():
    trouble = CannotStartError("Close Blender and start it " * 8, f"LD_PRELOAD={'/a/path' * 30} x")
    layout = Layout()
    start.draw_trouble(layout, trouble)
    assert max(map(len, layout.lines)) <= start.LINE
    told = "".join(layout.lines).replace(" ", "")
    assert trouble.what.replace(" ", "") in told
    assert trouble.command.replace(" ", "") in told
    assert [button.command for button in layout.buttons] == [trouble.command]


def test_the_box_is_registered_in_place_of_the_add_on_and_goes_again(monkeypatch, capsys):
    def refuse():
        raise CannotStartError("It has no library.", "a command")

    monkeypatch.setattr(start, "check", refuse)
    start.begin("elsewhere")  # the add-on itself is registered under its own name here
    assert "It has no library. a command" in capsys.readouterr().out
    assert hasattr(bpy.types, "SHEETSTACK_PT_trouble")
    assert bpy.ops.sheetstack.copy_command(command="a command") == {"FINISHED"}
    start.end()
    assert not hasattr(bpy.types, "SHEETSTACK_PT_trouble")


def test_where_it_can_run_it_is_registered(blender):
    from sheetstack import addon

    addon.unregister()
    start.begin("sheetstack")
    assert hasattr(bpy.types, "SHEETSTACK_PT_artwork")
    start.end()
    assert not hasattr(bpy.types, "SHEETSTACK_PT_artwork")
    addon.register()
