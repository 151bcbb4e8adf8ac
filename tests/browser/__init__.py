"""The sheet in a real browser. A package, so that its conftest is another module than that of the folder above."""
