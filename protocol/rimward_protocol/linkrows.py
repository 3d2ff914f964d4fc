"""Message payloads and settings as a device loads them for a conversation. Written by `python -m tests.interpreter.make_spec` from the tables."""

# number, then its payload
MESSAGES = (
    "\n"
    "1 protocol B layout_hash 8s what B host_id I\n"
    "2 \n"
    "3 profile *\n"
    "4 index H\n"
    "5 wheel_id 8s\n"
    "6 wheel_id 8s\n"
    "7 wheel_id 8s\n"
    "8 what B rate_hz B\n"
    "9 index H\n"
    "10 session I offset I bytes I\n"
    "11 number H\n"
    "12 number H value *\n"
    "13 index H\n"
    "14 unix_s I zone_min h\n"
    "15 key 32s\n"
    "16 \n"
    "17 \n"
    "18 beat I lease_ms H\n"
    "65 protocol B profile B session B flags B layout_hash 8s device_id 8s board 16s firmware 16s interpreter 32s boot I "
    "max_payload H\n"
    "66 tick I state B out B cause B stop_cause B range B waiting B connection H reading_pa i tyre_pa i ceiling_pa i stop_pa "
    "i target_pa i guard_pa i ambient_pa i air_ck H supply_mv H tick_max_us H heap_free I wheel_id 8s\n"
    "67 code B slot B sha256 32s\n"
    "68 index H count H slot B flags B profile *\n"
    "73 index H count H session I bytes I unix_s I cause B flags B wheel_id 8s\n"
    "74 session I offset I data *\n"
    "75 number H revision I value *\n"
    "77 index H count H cause B state B boot I tick I session I unix_s I value i\n"
    "78 unix_s I zone_min h\n"
    "79 code B check 8s wrong_tags I\n"
    "80 waiting B wheel_id 8s value i\n"
    "126 asked B code B\n"
    "127 asked B code B detail i\n"
    "128 block *\n"
    "129 block *\n"
    "130 block *\n"
)

# number, format, who may change it
SETTINGS = (
    "\n"
    "1 <iiIiH button\n"
    "2 <iiIiH button\n"
    "3 <iI button\n"
    "4 <i button\n"
    "5 <BIII button\n"
    "6 <h button\n"
    "7 <20s host\n"
    "8 <B host\n"
    "9 <B host\n"
    "10 <H button\n"
    "11 <IIII device\n"
)


def line_of(text, number):
    """What stands behind a number in one of the texts above; None if it is not there."""
    begin = "\n" + str(number) + " "
    at = text.find(begin)
    return None if at < 0 else text[at + len(begin) : text.find("\n", at + 1)]
