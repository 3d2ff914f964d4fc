"""Part classes of the bill of materials: description, whether safety depends on it, and series that fit.

Only series of electronic and pneumatic components are named, as examples that fit the stated figures; the maker's sheet has priority over
this table. Where `critical` is true at least two interchangeable sources are given, with the changes needed. Series are from
memory unless a
note says that a sheet was seen.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Kind:
    """One class: KiCad footprint, description, critical, series that fit, what to mind when replacing one by the other."""

    footprint: str
    text: str
    critical: bool
    series: tuple[str, ...]
    note: str = ""


KINDS = {
    "conn-power": Kind(
        "TerminalBlock_Dinkle:TerminalBlock_Dinkle_DT-55-B01X-0{n}_P10.00mm",
        "barrier terminals of 10 mm pitch, 30 A, wire 2.5 to 4 mm2",
        False,
        ("DT-55-B01X",),
    ),
    "conn-small": Kind(
        "Connector_JST:JST_XH_B{n}B-XH-A_1x0{n}_P2.50mm_Vertical",
        "keyed wire-to-board connector, 3 A",
        False,
        ("XH 2.5 mm", "KK 254"),
    ),
    "fuse-blade": Kind(
        "Fuse:Fuseholder_Blade_ATO_Littelfuse_Pudenz_2_Pin",
        "blade fuse 25 A with holder",
        True,
        ("ATOF 25 A", "FKS 25 A"),
        "same size",
    ),
    "fuse-small": Kind(
        "Fuse:Fuseholder_TR5_Littelfuse_No560_No460",
        "time-lag fuse",
        True,
        ("TR5 time-lag", "TE5 time-lag"),
        "same lead pitch",
    ),
    "tvs": Kind(
        "Diode_SMD:D_SMC",
        "transient suppressor, 15 V stand-off, one-way, clamps under 28 V",
        True,
        ("SMCJ15A", "1.5SMC18A"),
        "same size",
    ),
    "tvs-bi": Kind(
        "Diode_SMD:D_SMB",
        "transient suppressor, 24 V stand-off, both ways",
        True,
        ("SMBJ24CA", "P6SMB27CA"),
        "same size; 23 V stand-off in the second",
    ),
    "net-tie": Kind(
        "NetTie:NetTie-2_SMD_Pad2.0mm",
        "copper bridge of the star point",
        False,
        ("drawn in copper",),
    ),
    "cap-bulk": Kind(
        "Capacitor_THT:CP_Radial_D10.0mm_P5.00mm",
        "aluminium electrolytic, 105 degC",
        False,
        ("FR", "PX", "UPW"),
    ),
    "cap-ceramic": Kind(
        "Capacitor_SMD:C_1206_3216Metric",
        "ceramic, X7R (100 nF and less also C0G)",
        False,
        ("GRM31", "C3216", "CL31"),
    ),
    "cap-tantalum": Kind(
        "Capacitor_Tantalum_SMD:CP_EIA-3528-21_Kemet-B",
        "tantalum, 0.2 to 4 ohm series resistance, which U3 and U5 need",
        True,
        ("TAJB475K016", "T491B475K016AT"),
        "same size",
    ),
    "cap-film": Kind(
        "Capacitor_THT:C_Rect_L7.2mm_W4.5mm_P5.00mm_FKS2_FKP2_MKS2_MKP2",
        "film, 5 %, sets the drop-out time",
        True,
        ("MKS2 (PET)", "ECQ-V / B32529 (PET)"),
        "5 mm pitch",
    ),
    "res": Kind(
        "Resistor_SMD:R_0805_2012Metric", "thick film 1 %, 100 ppm/K", False, ("RC0805", "ERJ-6EN")
    ),
    "res-power": Kind(
        "Resistor_SMD:R_2512_6332Metric",
        "thick film 5 %, 1 W at 70 degC",
        True,
        ("CRCW2512", "ERJ-1T"),
        "same size",
    ),
    "res-precision": Kind(
        "Resistor_SMD:R_0805_2012Metric",
        "thin film 0.1 %, 25 ppm/K",
        True,
        ("ERA-6A", "RT0805B", "TNPW0805"),
        "same size",
    ),
    "diode-schottky": Kind("Diode_SMD:D_SMA", "Schottky 1 A 40 V", False, ("SS14", "B140")),
    "diode-feed": Kind("Diode_SMD:D_SMC", "Schottky 3 A 60 V", True, ("SS36", "B360"), "same size"),
    "esd-quad": Kind(
        "Package_TO_SOT_SMD:SOT-23-5",
        "four suppressors to ground on pin 2, 5 V",
        False,
        ("SP0504BAHT",),
    ),
    "diode-signal-schottky": Kind(
        "Diode_SMD:D_SOD-323", "Schottky 0.2 A 30 V", False, ("BAT54WS", "BAT42WS")
    ),
    "diode-signal": Kind("Diode_SMD:D_SOD-123", "fast 75 V", False, ("1N4148W", "BAV16W")),
    "diode-fast": Kind("Diode_SMD:D_SMA", "fast 100 V 1 A", True, ("US1B", "ES1B"), "same size"),
    "diode-power": Kind(
        "Package_TO_SOT_THT:TO-220-3_Vertical",
        "Schottky 20 A 60 V in all, two halves on one cathode (pins A, K, A)",
        False,
        ("MBR2060CT", "SBR20U60CT"),
    ),
    "zener-12": Kind(
        "Diode_SMD:D_SOD-123",
        "Zener diode 12 V, 0.5 W",
        True,
        ("MMSZ5242B", "BZT52C12"),
        "same size",
    ),
    "zener-33": Kind(
        "Diode_SMD:D_SMA",
        "Zener diode 33 V, 1 W; its voltage decides how fast the relay drops out",
        True,
        ("BZG03C33", "SMAZ33"),
        "same size",
    ),
    "zener-5v6": Kind(
        "Diode_SMD:D_SMA", "Zener diode 5.6 V, 1 W", True, ("SMAZ5V6", "BZG05C5V6"), "same size"
    ),
    "led": Kind("LED_THT:LED_D5.0mm", "white lamp", False, ("any 20 mA",)),
    "clamp-dual": Kind(
        "Package_TO_SOT_SMD:SOT-23",
        "series pair of Schottky diodes",
        False,
        ("BAT54S", "BAT54S of a second maker"),
    ),
    "npn": Kind(
        "Package_TO_SOT_SMD:SOT-23",
        "small NPN 45 V, gain 200 to 450",
        True,
        ("BC847B", "BC846B"),
        "same pinout; 40 V types and the higher gain groups are NOT sources",
    ),
    "pnp": Kind(
        "Package_TO_SOT_SMD:SOT-23",
        "small PNP 45 V, gain 200 to 475",
        True,
        ("BC857B", "BC856B"),
        "same pinout; 40 V types are NOT sources",
    ),
    "nmos": Kind(
        "Package_TO_SOT_SMD:SOT-23",
        "N-channel 55 V 2 A, threshold 2.5 V at most",
        True,
        ("IRLML0060", "AO3422"),
        "same pinout; types with a threshold up to 3 V are NOT sources",
    ),
    "pmos": Kind(
        "Package_TO_SOT_SMD:SOT-23",
        "P-channel 60 V 1 A or more, gate 20 V",
        True,
        ("SI2309CDS", "ZXMP6A13F"),
        "same pinout",
    ),
    "nmos-power": Kind(
        "Package_TO_SOT_THT:TO-220-3_Vertical",
        "N-channel 60 V 100 A, 4.2 milliohm at 10 V, gate charge 120 nC at most",
        True,
        ("CSD18532KCS", "IPP040N06N"),
        "same pinout",
    ),
    "relay": Kind(
        "Rimward:Relay_Tabs_6.3mm",
        "12 V, 30 A form A, releases within 10 ms without diode; in its own socket, wired to four tabs",
        True,
        (
            "automotive 30 A form A, 300 ohm coil, release 10 ms at most",
            "TRS series 12 V form A, 180 or 253 ohm, release 2 ms",
        ),
        "both sheets seen; T9A is NOT a source: 15 ms release (sheet seen) breaks the 20 ms budget; terminals 30, 87, 86, 85",
    ),
    "reg-switch-5": Kind(
        "Converter_DCDC:Converter_DCDC_RECOM_R-78E-0.5_THT",
        "switching regulator in the outline of a 7805",
        True,
        ("R-78E5.0-1.0", "TSR 1-2450", "K7805-1000R3"),
        "same pinout",
    ),
    "reg-linear-5": Kind(
        "Package_TO_SOT_THT:TO-92_Inline",
        "5 V 100 mA linear regulator, 2 % over temperature, 30 V in",
        True,
        ("LP2950ACZ-5.0 (first maker)", "LP2950ACZ-5.0 (second maker)"),
        "5 % types are NOT sources: the converter's reference allows 5.1 V",
    ),
    "supervisor": Kind(
        "Package_TO_SOT_SMD:SOT-23",
        "open drain, low under 4.38 V and for 140 ms or more after",
        True,
        ("MAX803M", "TLV803M"),
        "same pinout",
    ),
    "adc-i2c": Kind(
        "Package_SO:TSSOP-10_3x3mm_P0.5mm",
        "four channels, 12 bits or more, I2C",
        False,
        ("ADS1115", "ADS1015"),
    ),
    "reg-linear-3": Kind(
        "Package_TO_SOT_SMD:SOT-23-5",
        "3.0 V linear regulator (2.5 V with AD7988)",
        True,
        ("MCP1802T-30", "TPS7A2030"),
        "same pinout: 1 in, 2 ground, 3 enable, 5 out; a part on three legs is NOT a source",
    ),
    "transducer-sealed": Kind(
        "Connector_JST:JST_XH_B3B-XH-A_1x03_P2.50mm_Vertical",
        "0-10 bar sealed gauge, ratiometric 0.5-4.5 V, total error band 1 %, burst over 30 bar",
        True,
        ("PX3 sealed gauge 10 bar", "M3200 sealed gauge 10 bar"),
        "same signal; thread and plug differ; calibrate after a change",
    ),
    "transducer-vented": Kind(
        "Connector_JST:JST_XH_B3B-XH-A_1x03_P2.50mm_Vertical",
        "0-10 bar VENTED gauge, ratiometric 0.5-4.5 V, total error band 1 % over 0 to 50 degC",
        True,
        ("M5200 gauge 10 bar 0.5-4.5 V", "HSC 010BG analog 10-90 %, with a port adapter"),
        "vented to the room, not sealed: a sealed one trips 0.3 bar late at 3000 m; must not be the same lot as A",
    ),
    "comparator": Kind(
        "Package_SO:SOIC-8_3.9x4.9mm_P1.27mm",
        "dual, push-pull, inputs to both rails, offset 10 mV at most",
        True,
        ("MCP6562", "TLV3202"),
        "same pinout; an open-collector type is NOT a source: its broken output wire would give consent; nor one whose inputs end under the positive rail",
    ),
    "adc16": Kind(
        "Package_SO:VSSOP-10_3x3mm_P0.5mm",
        "16-bit, reference up to 5.1 V with 3.3 V logic, INL 2 counts",
        True,
        ("ADS8866 / ADS8864 (sheet seen)", "AD7988-1 with U8 = 2.5 V"),
        "same pinout; U8 changes with it",
    ),
    "barometer": Kind(
        "Package_LGA:Bosch_LGA-8_2x2.5mm_P0.65mm_ClockwisePinNumbering",
        "300 to 1100 hPa, I2C",
        False,
        ("BMP280",),
    ),
    "mcu-board": Kind(
        "Rimward:RaspberryPi_Pico", "Raspberry Pi Pico, RP2040", False, ("Pico", "Pico H")
    ),
    "display": Kind(
        "Connector_PinHeader_2.54mm:PinHeader_1x04_P2.54mm_Vertical",
        "128 x 64 monochrome, I2C, SSD1306 command set",
        False,
        ("SSD1306 module", "SSD1309 module"),
    ),
    "switch-run": Kind(
        "Connector_JST:JST_XH_B2B-XH-A_1x02_P2.50mm_Vertical",
        "momentary, 1 A at 12 V, opens by spring; hand trigger or foot pedal",
        True,
        ("V3 / D3V snap-action", "V15 snap-action in a foot pedal"),
        "gold-free contact, 10 mA to 1 A",
    ),
    "switch-test": Kind(
        "Connector_JST:JST_XH_B2B-XH-A_1x02_P2.50mm_Vertical",
        "momentary, normally open",
        True,
        ("KS-01Q", "B3F"),
        "gold contacts",
    ),
    "switch-key": Kind(
        "Connector_JST:JST_XH_B6B-XH-A_1x06_P2.50mm_Vertical",
        "three-pole two-position, on the stem of valve V5, key removable in both positions",
        True,
        ("cam switch 3-pole, gold", "three D2F snap-action on a cam"),
        "contacts must not bridge while turning",
    ),
    "button": Kind(
        "Connector_JST:JST_XH_B2B-XH-A_1x02_P2.50mm_Vertical",
        "sealed push button, 16 mm or larger",
        False,
        ("IP67 16 mm", "IP67 19 mm"),
    ),
    "buzzer": Kind(
        "Buzzer_Beeper:Buzzer_12x9.5RM7.6",
        "5 V with built-in oscillator",
        False,
        ("12 mm active piezo",),
    ),
}


# Items that the board needs beside its parts: (reference, description, figures, purpose).
MECHANICAL = (
    (
        "F0",
        "blade fuse in an in-line holder",
        "32 V 30 A",
        "protects the lead from the battery to the board",
    ),
    (
        "SW1",
        "main switch, one pole, plus lead",
        "16 V 30 A DC or more, DC-rated",
        "takes all 12 V away: everything stops, the vent opens",
    ),
    (
        "HS1",
        "heat sink for TO-220, insulated pad, screw",
        "15 K/W or less in free air",
        "M1 at 15 A: without it over its limit within the stated duty",
    ),
)
