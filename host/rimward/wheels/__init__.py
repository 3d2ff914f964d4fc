"""The register of wheels, the workshop key, binary profiles, presets and tags.

>>> import tempfile
>>> from pathlib import Path
>>> from rimward.wheels import Asked, Place, Ride, build, new_wheel_id, open_register, profile_to_json
>>> folder = tempfile.TemporaryDirectory()
>>> register = open_register(str(Path(folder.name) / "register.db"), create=True)
>>> wheel = register.add({"label": "Aspen race", "rim": "622x23TSS", "rim_max": "5 bar", "tyre": "28-622", "tyre_range": "3.5-6 bar",
...                       "approved": "yes", "bead": "folding", "air": "tubeless"}, who="Maren Holt")
>>> register.get("aspen").values["tyre"], register.history(wheel.wheel_id)[0].who
('28-622', 'Maren Holt')
>>> profile = build(wheel.values, new_wheel_id(), 1, Asked(390_000, Place.of(18, 200), Ride.of(1200, 40)))
>>> profile_to_json(profile)["ceiling_pa"]
447000
>>> register.close(); folder.cleanup()

`issue` makes the next profile of a wheel of the register, records and tags it; `build` makes one of any values, untagged.
"""

from rimward.ceiling.model import Instrument, Place, Ride
from rimward.keys import Key, Ring
from rimward.keys import load as load_keys
from rimward.preset import Preset
from rimward.profiles import Asked, assess_wheel, build, issue, new_wheel_id, origin, tagged
from rimward.profiles import read as read_profile
from rimward.profiles import to_json as profile_to_json
from rimward.profiles import write as write_profile
from rimward.register import Change, Entry, Register, Wheel, open_register
from rimward.tag.design import wheel_tag
from rimward.tag.reading import read as read_tag

__all__ = [
    "Asked",
    "Change",
    "Entry",
    "Instrument",
    "Key",
    "Place",
    "Preset",
    "Register",
    "Ride",
    "Ring",
    "Wheel",
    "assess_wheel",
    "build",
    "issue",
    "load_keys",
    "new_wheel_id",
    "open_register",
    "origin",
    "profile_to_json",
    "read_profile",
    "read_tag",
    "tagged",
    "wheel_tag",
    "write_profile",
]
