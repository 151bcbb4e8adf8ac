"""Plans the water change of a large hard-water fish tank."""

from pathlib import Path

__version__ = "0.1.0"

_HERE = Path(__file__).parent
# In a wheel the rooms lie in this folder; in a checkout it holds links to them. Where links are not kept (an unpacked
# source distribution, some systems) they are found beside it.
if not (_HERE / "chemistry").is_dir():
    __path__.append(str(_HERE.parent))
