"""The circuit: every part, its value and rating, and the net on each of its pins. Everything else in this folder is computed from here.

Row: (reference, class, value, rating, "pin=NET pin=NET", why it is there). Classes are explained in hardware/sources.py.
A pin that stays open on purpose is written pin=NC. A rating is "number unit" or "name:number unit", every figure of the part.
Supplies: V12 battery side with the motor, V12_AUX everything else (behind a diode: nothing on it lives on a reversed supply), V5 logic,
V5_SENS transducers A and B, V5_CUT the independent cutoff alone, V3V3 from the Pico, VA the converter's analog supply.
Returns: PGND carries motor and coils, GND logic, SGND transducers A and B, CGND the independent cutoff; they meet in one star point
(NT1 to NT3, next to J1), so that no motor current flows in a sensor's return.
"""

from dataclasses import dataclass

POWER = (
    ("J1", "conn-power", "12 V in", "30 A", "1=V12_RAW 2=PGND", "battery or adapter, 10.5 to 14.5 V"),
    ("F1", "fuse-blade", "25 A", "32 V 25 A I2t:900 A2s", "1=V12_RAW 2=V12", "main fuse; also blows when D1 conducts on reversed supply"),
    ("D1", "tvs", "15 V", "15 V 1500 W clamp:25.2 V", "A=PGND K=V12", "surge clamp; conducts forward when the supply is reversed"),
    ("C1", "cap-bulk", "470u", "35 V 20 %", "1=V12 2=PGND", "motor current steps"),
    ("D6", "diode-feed", "3 A", "60 V 3 A", "A=V12 K=V12_AUX", "reversed supply: no coil, regulator or driver gets current"),
    ("F2", "fuse-small", "0.8 A", "32 V 0.8 A", "1=V12_AUX 2=V12_LOGIC", "logic and transducers A, B"),
    ("F3", "fuse-small", "0.2 A", "32 V 0.2 A", "1=V12_AUX 2=V12_CUT", "independent cutoff alone"),
    ("F4", "fuse-small", "2 A", "32 V 2 A", "1=V12_AUX 2=V12_COIL", "relay coil and vent; through the run switch and Q5 the gate of M1 as well"),
    ("NT1", "net-tie", "star point", "30 A", "1=PGND 2=GND", "logic return meets the others here and nowhere else"),
    ("NT2", "net-tie", "star point", "1 A", "1=PGND 2=CGND", "return of the independent cutoff"),
    ("NT3", "net-tie", "star point", "1 A", "1=PGND 2=SGND", "return of transducers A and B"),
    ("U2", "reg-switch-5", "5 V 1 A", "28 V 1 A", "VIN=V12_LOGIC GND=GND VOUT=V5", "logic supply"),
    ("C2", "cap-ceramic", "10u", "35 V 20 %", "1=V12_LOGIC 2=GND", "input of U2 and U3"),
    ("C3", "cap-ceramic", "22u", "10 V 20 %", "1=V5 2=GND", "output of U2"),
    ("D2", "diode-schottky", "1 A", "40 V 1 A", "A=V5 K=VSYS", "lets a USB cable power the Pico alone; V12 stays dead then"),
    ("U3", "reg-linear-5", "5 V 0.1 A", "30 V 0.1 A 2 %", "VIN=V12_LOGIC GND=SGND VOUT=V5_SENS", "transducers A and B, reference of U6"),
    ("C4", "cap-tantalum", "4.7u", "16 V 20 %", "1=V5_SENS 2=SGND", "output of U3"),
    ("R49", "res-power", "220", "5 % 1 W", "1=V12_CUT 2=V12_REG", "U5 shorted: at most 40 mA reach D22"),
    ("U5", "reg-linear-5", "5 V 0.1 A", "30 V 0.1 A 2 %", "VIN=V12_REG GND=CGND VOUT=V5_CUT", "supply of the independent cutoff"),
    ("C5", "cap-ceramic", "1u", "35 V 20 %", "1=V12_REG 2=CGND", "input of U5"),
    ("C6", "cap-tantalum", "4.7u", "16 V 20 %", "1=V5_CUT 2=CGND", "output of U5"),
    ("D22", "zener-5v6", "5.6 V", "5.6 V 1 W", "A=CGND K=V5_CUT", "U5 shorted: U4 stays under its rating, and the threshold, a ratio, stays true"),
    ("U8", "reg-linear-3", "3.0 V 0.1 A", "6 V 0.1 A", "VIN=V5 GND=GND VOUT=VA", "analog supply of U6 (2.5 V part with the second source)"),
    ("C7", "cap-ceramic", "1u", "10 V 20 %", "1=VA 2=GND", "output of U8"),
)

AIR = (
    ("R2", "res", "100k", "1 % 0.125 W", "1=GATE 2=GND", "gate pin low in reset"),
    ("C10", "cap-ceramic", "150n", "50 V 10 %", "1=GATE 2=GP_A", "pulse coupling: one of two in series, so that one short passes no steady level"),
    ("C11", "cap-ceramic", "150n", "50 V 10 %", "1=GP_A 2=GP_B", "pulse coupling: the other"),
    ("R1", "res", "2.2k", "1 % 0.125 W", "1=GP_B 2=Q3_B", "with C10 and C11: a falling edge turns Q3 on for half a millisecond"),
    ("R26", "res", "10k", "1 % 0.125 W", "1=Q3_B 2=V3V3", "Q3 off at any steady level"),
    ("D3", "diode-signal-schottky", "30 V", "30 V 0.2 A", "A=Q3_B K=V3V3", "takes the rising edge"),
    ("Q3", "pnp", "small signal", "45 V 0.1 A", "B=Q3_B C=Q3_C E=V3V3", "tops up C12 at each falling edge"),
    ("R27", "res", "100", "1 % 0.125 W", "1=Q3_C 2=STORE", "charging current"),
    ("C12", "cap-film", "330n", "63 V 5 %", "1=STORE 2=GND", "drop-out time"),
    ("R3", "res", "22k", "1 % 0.125 W", "1=STORE 2=GND", "bleed: one of two in parallel, so that one open wire still drops out"),
    ("R4", "res", "22k", "1 % 0.125 W", "1=STORE 2=GND", "bleed: the other"),
    ("R5", "res", "100k", "1 % 0.125 W", "1=STORE 2=Q1_B", "base drive"),
    ("R6", "res", "1M", "1 % 0.125 W", "1=Q1_B 2=GND", "holds the base down when R5 is broken"),
    ("Q1", "npn", "small signal", "45 V 0.1 A", "B=Q1_B C=Q1_C E=GND", "on only while pulses come"),
    ("R7", "res", "4.7k", "1 % 0.125 W", "1=Q1_C 2=Q2_B", "base current of Q2"),
    ("R8", "res", "22k", "1 % 0.125 W", "1=Q2_B 2=V12_GATE", "keeps Q2 off against leakage"),
    ("Q2", "pnp", "small signal", "45 V 0.1 A", "B=Q2_B C=Q2_C E=V12_GATE", "feeds the gate of M1, from behind run switch and cutoff"),
    ("R9", "res", "220", "1 % 0.125 W", "1=Q2_C 2=M1_G", "edge of M1"),
    ("R10", "res", "4.7k", "1 % 0.125 W", "1=M1_G 2=GND", "gate down: one of two"),
    ("R11", "res", "4.7k", "1 % 0.125 W", "1=M1_G 2=PGND", "gate down: the other, soldered at the transistor's own legs"),
    ("D5", "zener-12", "12 V", "12 V 0.5 W", "A=PGND K=M1_G", "gate no higher than 12 V"),
    ("M1", "nmos-power", "60 V 4.2 mohm", "60 V 100 A 4.2 mohm 175 degC", "G=M1_G D=PUMP_N S=PGND",
     "switching element of the pulse-train channel, on heat sink HS1"),
    ("K1", "relay", "12 V 30 A form A", "16 V 30 A", "11=V12 14=PUMP_P A1=COIL_P A2=COIL_N", "switching element of the relay channel"),
    ("J2", "conn-power", "air source", "30 A", "1=PUMP_P 2=PUMP_N 3=PGND 4=V12",
     "compressor on 1-2; workshop line: valve L1 on 1-3 (relay channel), valve L2 on 4-2 (pulse channel)"),
    ("D7", "diode-power", "free-wheel", "60 V 20 A", "A=PUMP_N K=PUMP_P",
     "compressor build only, across the motor: free-wheel whichever element opens first; reaches neither supply nor ground"),
    ("D8", "tvs-bi", "24 V", "24 V 600 W clamp:38.9 V", "1=PUMP_N 2=PGND", "valve L2 and M1's drain: clamps high, so that the valve shuts fast"),
    ("D23", "tvs-bi", "24 V", "24 V 600 W clamp:38.9 V", "1=PUMP_P 2=PGND", "valve L1 when the relay opens: clamps high, so that the valve shuts fast"),
)

COILS = (
    ("S1", "switch-run", "hold to run", "16 V 1 A", "1=V12_COIL 2=V12_RUN", "hand or foot; the coil current itself runs through it"),
    ("Q5", "pmos", "60 V 1 A", "60 V 1 A gate:20 V threshold:3 V", "G=Q5_G D=COIL_P S=V12_RUN", "independent cutoff's switch in the relay coil"),
    ("D31", "diode-signal", "75 V", "75 V 0.15 A", "A=COIL_P K=V12_GATE", "M1's gate is fed only while hand and cutoff feed the relay coil: a trip drops both elements"),
    ("R12", "res", "100k", "1 % 0.125 W", "1=V12_RUN 2=Q5_G", "Q5 off without the cutoff's consent: one of two"),
    ("R28", "res", "100k", "1 % 0.125 W", "1=V12_RUN 2=Q5_G", "Q5 off: the other"),
    ("R13", "res", "10k", "1 % 0.125 W", "1=Q5_G 2=Q5_PULL", "consent of the cutoff to Q5 (Q4 alone)"),
    ("Q6", "nmos", "55 V 2 A", "55 V 2 A gate:8 V threshold:2.5 V", "G=Q6_G D=COIL_N S=PGND", "firmware's switch in the relay coil"),
    ("R14", "res", "470", "1 % 0.125 W", "1=RELAY 2=Q6_G", "gate"),
    ("R15", "res", "47k", "1 % 0.125 W", "1=Q6_G 2=GND", "gate down: one of two"),
    ("R16", "res", "47k", "1 % 0.125 W", "1=Q6_G 2=GND", "gate down: the other"),
    ("D9", "diode-signal", "75 V", "75 V 0.15 A", "A=COIL_N K=K1_CLAMP", "coil clamp"),
    ("D10", "zener-33", "33 V", "33 V 1 W", "A=COIL_P K=K1_CLAMP", "coil clamp: a plain diode would hold the contact for milliseconds longer"),
    ("Q8", "pmos", "60 V 1 A", "60 V 1 A gate:20 V threshold:3 V", "G=Q8_G D=VENT_P S=V12_COIL", "independent cutoff's switch in the vent coil"),
    ("R17", "res", "100k", "1 % 0.125 W", "1=V12_COIL 2=Q8_G", "Q8 off without the cutoff's consent: one of two"),
    ("R29", "res", "100k", "1 % 0.125 W", "1=V12_COIL 2=Q8_G", "Q8 off: the other"),
    ("R18", "res", "10k", "1 % 0.125 W", "1=Q8_G 2=Q8_PULL", "consent of the cutoff to Q8 (Q13 alone)"),
    ("J4", "conn-small", "vent valve", "3 A", "1=VENT_P 2=VENT_N", "normally-open valve; energised = closed"),
    ("Q9", "nmos", "55 V 2 A", "55 V 2 A gate:8 V threshold:2.5 V", "G=Q9_G D=VENT_N S=PGND", "firmware's switch in the vent coil"),
    ("R19", "res", "470", "1 % 0.125 W", "1=VENT 2=Q9_G", "gate"),
    ("R20", "res", "47k", "1 % 0.125 W", "1=Q9_G 2=GND", "gate down: one of two"),
    ("R21", "res", "47k", "1 % 0.125 W", "1=Q9_G 2=GND", "gate down: the other"),
    ("D11", "diode-fast", "100 V", "100 V 1 A", "A=VENT_N K=VENT_CLAMP", "vent clamp"),
    ("D12", "zener-33", "33 V", "33 V 1 W", "A=VENT_P K=VENT_CLAMP", "vent clamp"),
    ("R22", "res", "30k", "1 % 0.125 W", "1=VENT_P 2=CUTOFF", "firmware sees whether the cutoff holds the vent's supply"),
    ("R23", "res", "10k", "1 % 0.125 W", "1=CUTOFF 2=GND", "broken wire reads: cutoff open"),
    ("D13", "clamp-dual", "30 V", "30 V 0.2 A", "A=GND K=V3V3 C=CUTOFF", "keeps the pin between the rails"),
    ("R24", "res", "30k", "1 % 0.125 W", "1=V12_RUN 2=RUN", "firmware sees the same contact that carries the coil current"),
    ("R25", "res", "10k", "1 % 0.125 W", "1=RUN 2=GND", "broken wire reads: let go"),
    ("D17", "clamp-dual", "30 V", "30 V 0.2 A", "A=GND K=V3V3 C=RUN", "keeps the pin between the rails"),
)

CUTOFF = (
    ("J5", "transducer-vented", "C 0 to 10 bar gauge", "16 bar 1 %", "1=V5_CUT 2=SIG_C_RAW 3=CGND", "own sensing element on its own port of the manifold"),
    ("R30", "res", "470k", "1 % 0.125 W", "1=SIG_C_RAW 2=CGND", "broken signal or supply wire reads below the band, which opens"),
    ("R34", "res", "20k", "1 % 0.125 W", "1=SIG_C_RAW 2=SIG_C", "filter, 1 ms: one of two, so that one open leaves no charged capacitor behind"),
    ("R48", "res", "20k", "1 % 0.125 W", "1=SIG_C_RAW 2=SIG_C", "filter: the other"),
    ("C20", "cap-ceramic", "100n", "50 V 10 %", "1=SIG_C 2=CGND", "filter"),
    ("R35", "res-precision", "10.0k", "0.1 % 0.125 W", "1=V5_CUT 2=REF", "threshold, top"),
    ("R36", "res-precision", "10.0k", "0.1 % 0.125 W", "1=REF 2=CGND", "threshold, bottom"),
    ("R37", "res-precision", "150k", "0.1 % 0.125 W", "1=CUT_HI 2=REF", "hysteresis"),
    ("R38", "res-precision", "2.05k", "0.1 % 0.125 W", "1=KEY_REF 2=REF", "raises the threshold in the high range; an open contact is the low range"),
    ("C22", "cap-ceramic", "10n", "50 V 10 %", "1=REF 2=CGND", "noise"),
    ("S2", "switch-test", "hold to test", "16 V 0.05 A", "1=REF 2=TEST_R", "daily test: lowers the threshold to some 2 bar, which the air itself must pass"),
    ("R32", "res-precision", "5.36k", "0.1 % 0.125 W", "1=TEST_R 2=CGND", "threshold of the daily test"),
    ("R39", "res-precision", "191k", "0.1 % 0.125 W", "1=V5_CUT 2=REF_LO", "lower bound, 5 % of supply"),
    ("R44", "res-precision", "10k", "0.1 % 0.125 W", "1=REF_LO 2=CGND", "lower bound"),
    ("U4", "comparator", "dual push-pull", "supply:5.5 V offset:10 mV",
     "OUTA=CUT_HI INA-=SIG_C INA+=REF V-=CGND INB+=SIG_C INB-=REF_LO OUTB=CUT_LO V+=V5_CUT", "A: too high opens. B: below 5 % of supply opens"),
    ("C21", "cap-ceramic", "100n", "50 V 10 %", "1=V5_CUT 2=CGND", "at U4"),
    ("R40", "res", "22k", "1 % 0.125 W", "1=CUT_HI 2=Q4_B", "high output = consent, so a broken wire opens"),
    ("R41", "res", "10k", "1 % 0.125 W", "1=Q4_B 2=CGND", "base down, strong enough against R37 when the output wire of U4A is broken"),
    ("Q4", "npn", "small signal", "45 V 0.1 A", "B=Q4_B C=Q5_PULL E=CUT_MID", "consent to the relay coil, not too high"),
    ("R98", "res", "22k", "1 % 0.125 W", "1=CUT_HI 2=Q13_B", "the same for the vent"),
    ("R99", "res", "10k", "1 % 0.125 W", "1=Q13_B 2=CGND", "base down"),
    ("Q13", "npn", "small signal", "45 V 0.1 A", "B=Q13_B C=Q8_PULL E=CUT_MID", "consent to the vent, apart from Q4: no single transistor feeds both"),
    ("R42", "res", "22k", "1 % 0.125 W", "1=CUT_LO 2=Q7_B", "high output = consent"),
    ("R43", "res", "10k", "1 % 0.125 W", "1=Q7_B 2=CGND", "base down"),
    ("Q7", "npn", "small signal", "45 V 0.1 A", "B=Q7_B C=CUT_MID E=CGND", "consent, transducer alive"),
    ("R45", "res", "100k", "1 % 0.125 W", "1=CUT_HI 2=Q11_B", "consent keeps Q12 off"),
    ("Q11", "npn", "small signal", "45 V 0.1 A", "B=Q11_B C=LATCH_B E=CGND", "consent keeps Q12 off; any broken wire here opens the cutoff"),
    ("U10", "supervisor", "4.38 V, 140 ms", "6 V 0.02 A", "VDD=V5_CUT GND=CGND RESET=LATCH_P",
     "Q12 stays off until U4 has long been awake, however the supply comes"),
    ("R46", "res", "10k", "1 % 0.125 W", "1=V5_CUT 2=LATCH_P", "base current of Q12"),
    ("R97", "res", "10k", "1 % 0.125 W", "1=LATCH_P 2=LATCH_B", "base current of Q12"),
    ("C23", "cap-ceramic", "100n", "50 V 10 %", "1=LATCH_B 2=CGND", "spikes"),
    ("R47", "res", "100k", "1 % 0.125 W", "1=LATCH_B 2=CGND", "base down"),
    ("Q12", "npn", "small signal", "45 V 0.1 A", "B=LATCH_B C=REF E=CGND",
     "latch: once open, the threshold lies under the signal of an empty manifold until the 12 V have been away"),
)

MONITOR = (
    ("U9", "adc-i2c", "4 channels", "3.6 V", "ADDR=GND ALERT=NC GND=GND AIN0=MON_C AIN1=MON_V AIN2=MON_REF AIN3=MON_COIL VDD=V3V3 SDA=BARO_SDA SCL=BARO_SCL",
     "the processor's view of the cutoff: signal, supply, threshold, coil. Nothing of the cutoff depends on it"),
    ("C38", "cap-ceramic", "100n", "50 V 10 %", "1=V3V3 2=GND", "at U9"),
    ("R81", "res-precision", "49.9k", "0.1 % 0.125 W", "1=SIG_C_RAW 2=MON_C_1", "divider 0.6 of C's signal: two in series, so that one short disturbs nothing"),
    ("R82", "res-precision", "49.9k", "0.1 % 0.125 W", "1=MON_C_1 2=MON_C", "the other"),
    ("R83", "res-precision", "150k", "0.1 % 0.125 W", "1=MON_C 2=SGND", "divider 0.6"),
    ("R88", "res-precision", "49.9k", "0.1 % 0.125 W", "1=V5_CUT 2=MON_V_1", "the same divider for C's supply: the ratio needs no other reference"),
    ("R89", "res-precision", "49.9k", "0.1 % 0.125 W", "1=MON_V_1 2=MON_V", "the other"),
    ("R91", "res-precision", "150k", "0.1 % 0.125 W", "1=MON_V 2=SGND", "divider 0.6"),
    ("R85", "res", "330k", "1 % 0.125 W", "1=REF 2=MON_REF_1", "divider 0.6 of the threshold: two in series"),
    ("R86", "res", "330k", "1 % 0.125 W", "1=MON_REF_1 2=MON_REF", "the other"),
    ("R87", "res", "1M", "1 % 0.125 W", "1=MON_REF 2=SGND", "divider 0.6"),
    ("R92", "res", "39k", "1 % 0.125 W", "1=COIL_P 2=MON_COIL", "divider 0.2: with the cutoff open no voltage may be here (Q5 works)"),
    ("R93", "res", "10k", "1 % 0.125 W", "1=MON_COIL 2=GND", "divider 0.2"),
    ("D26", "clamp-dual", "30 V", "30 V 0.2 A", "A=GND K=V3V3 C=MON_COIL", "the coil's swing stays harmless"),
)

SENSE = (
    ("J6", "transducer-sealed", "A 0 to 10 bar sealed", "16 bar 1 %", "1=V5_SENS 2=SIG_A_RAW 3=SGND", "transducer A on tap A"),
    ("R51", "res", "470k", "1 % 0.125 W", "1=SIG_A_RAW 2=SGND", "broken signal wire reads below the band"),
    ("R50", "res", "2.2k", "1 % 0.125 W", "1=SIG_A_RAW 2=SIG_A", "filter, 0.1 ms"),
    ("C30", "cap-ceramic", "47n", "50 V 10 %", "1=SIG_A 2=SGND", "filter and charge reservoir of U6"),
    ("U6", "adc16", "16 bit", "reference:5.1 V supply:3.6 V",
     "REF=V5_SENS AVDD=VA AINP=SIG_A AINN=SGND GND=GND CONVST=SPI_CS DOUT=SPI_MISO SCLK=SPI_SCK DIN=SPI_MOSI DVDD=V3V3",
     "reads A as a fraction of A's own supply"),
    ("D27", "clamp-dual", "30 V", "30 V 0.2 A", "A=SGND K=V5_SENS C=SIG_A", "12 V on the wire stays harmless for U6"),
    ("C31", "cap-ceramic", "10u", "10 V 20 %", "1=V5_SENS 2=SGND", "reference of U6"),
    ("C33", "cap-ceramic", "100n", "50 V 10 %", "1=V3V3 2=GND", "at U6"),
    ("R52", "res", "100k", "1 % 0.125 W", "1=SPI_MOSI 2=V3V3", "DIN high selects the mode used"),
    ("R53", "res", "100k", "1 % 0.125 W", "1=SPI_CS 2=GND", "no floating input in reset"),
    ("R54", "res", "100k", "1 % 0.125 W", "1=SPI_SCK 2=GND", "no floating input in reset"),
    ("R55", "res", "100k", "1 % 0.125 W", "1=SPI_MISO 2=GND", "converter missing reads 0, below the band"),
    ("J7", "transducer-vented", "B 0 to 10 bar gauge", "16 bar 1 %", "1=V5_SENS 2=SIG_B_RAW 3=SGND", "transducer B on tap B"),
    ("R56", "res-precision", "10k", "0.1 % 0.125 W", "1=SIG_B_RAW 2=ADC_B", "divider 0.6"),
    ("R57", "res-precision", "15k", "0.1 % 0.125 W", "1=ADC_B 2=SGND", "divider 0.6; broken wire reads 0"),
    ("C34", "cap-ceramic", "100n", "50 V 10 %", "1=ADC_B 2=SGND", "filter, 0.6 ms"),
    ("D14", "clamp-dual", "30 V", "30 V 0.2 A", "A=GND K=V3V3 C=ADC_B", "12 V on the wire stays harmless"),
    ("R58", "res-precision", "10k", "0.1 % 0.125 W", "1=V5_SENS 2=ADC_SUPPLY", "divider 0.6: B's ratio needs its supply"),
    ("R59", "res-precision", "15k", "0.1 % 0.125 W", "1=ADC_SUPPLY 2=SGND", "divider 0.6"),
    ("C35", "cap-ceramic", "100n", "50 V 10 %", "1=ADC_SUPPLY 2=SGND", "filter"),
    ("D15", "clamp-dual", "30 V", "30 V 0.2 A", "A=GND K=V3V3 C=ADC_SUPPLY", "12 V on the wire stays harmless"),
    ("R60", "res", "47k", "1 % 0.125 W", "1=V12 2=ADC_PUMP", "divider 0.175"),
    ("R61", "res", "10k", "1 % 0.125 W", "1=ADC_PUMP 2=GND", "divider 0.175"),
    ("C36", "cap-ceramic", "100n", "50 V 10 %", "1=ADC_PUMP 2=GND", "filter"),
    ("D16", "clamp-dual", "30 V", "30 V 0.2 A", "A=GND K=V3V3 C=ADC_PUMP", "surge"),
    ("U7", "barometer", "300 to 1100 hPa", "3.6 V", "VDD=V3V3 VDDIO=V3V3 GND=GND SDI=BARO_SDA SCK=BARO_SCL CSB=V3V3 SDO=GND",
     "ambient pressure and air temperature, in the intake air"),
    ("C37", "cap-ceramic", "100n", "50 V 10 %", "1=V3V3 2=GND", "at U7"),
    ("R62", "res", "4.7k", "1 % 0.125 W", "1=BARO_SDA 2=V3V3", "bus pull-up"),
    ("R63", "res", "4.7k", "1 % 0.125 W", "1=BARO_SCL 2=V3V3", "bus pull-up"),
)

PANEL = (
    ("U1", "mcu-board", "Raspberry Pi Pico", "5.5 V",
     "GP0=BENCH0 GP1=BENCH1 GP2=GATE GP3=RELAY GP4=VENT GP5=WORKSHOP GP6=RUN GP7=KEY_LOW GP8=KEY_HIGH GP9=CUTOFF "
     "GP10=DISPLAY_SDA GP11=DISPLAY_SCL GP12=UP GP13=DOWN GP14=ENTER GP15=BUZZER GP16=SPI_MISO GP17=SPI_CS GP18=SPI_SCK "
     "GP19=SPI_MOSI GP20=BARO_SDA GP21=BARO_SCL GP22=LAMP GP26=ADC_B GP27=ADC_SUPPLY GP28=ADC_PUMP "
     "RUN=NC ADC_VREF=NC 3V3=V3V3 3V3_EN=NC VSYS=VSYS VBUS=NC GND=GND AGND=NC", "the processor"),
    ("J9", "display", "128 x 64 mono, I2C", "3.6 V", "GND=GND VCC=V3V3 SCL=SCL_W SDA=SDA_W", "display"),
    ("R64", "res", "4.7k", "1 % 0.125 W", "1=DISPLAY_SDA 2=V3V3", "bus pull-up"),
    ("R65", "res", "4.7k", "1 % 0.125 W", "1=DISPLAY_SCL 2=V3V3", "bus pull-up"),
    ("R109", "res", "100", "1 % 0.125 W", "1=SDA_W 2=DISPLAY_SDA", "wire to the display"),
    ("R110", "res", "100", "1 % 0.125 W", "1=SCL_W 2=DISPLAY_SCL", "wire to the display"),
    ("R70", "res", "100", "1 % 0.125 W", "1=V3V3 2=FEED", "a shorted panel wire cannot take the processor's supply down hard"),
    ("S4", "button", "up", "16 V 0.05 A", "1=FEED 2=UP_W", "sealed, glove size"),
    ("S5", "button", "down", "16 V 0.05 A", "1=FEED 2=DOWN_W", "sealed, glove size"),
    ("S6", "button", "enter", "16 V 0.05 A", "1=FEED 2=ENTER_W", "sealed, glove size"),
    ("R66", "res", "4.7k", "1 % 0.125 W", "1=UP 2=GND", "not pressed reads 0"),
    ("R67", "res", "4.7k", "1 % 0.125 W", "1=DOWN 2=GND", "not pressed reads 0"),
    ("R68", "res", "4.7k", "1 % 0.125 W", "1=ENTER 2=GND", "not pressed reads 0"),
    ("S3", "switch-key", "range key", "16 V 0.05 A", "A_COM=V5_CUT A_HIGH=KEY_REF B_COM=FEED B_LOW=KEY_LOW_W C_COM=FEED C_HIGH=KEY_HIGH_W",
     "three poles on the stem of valve V5 (low relief): threshold, and two contacts that must differ"),
    ("R73", "res", "4.7k", "1 % 0.125 W", "1=KEY_LOW 2=GND", "broken wire reads 0"),
    ("R74", "res", "4.7k", "1 % 0.125 W", "1=KEY_HIGH 2=GND", "broken wire reads 0"),
    ("J10", "conn-small", "id plug", "1 A", "1=FEED 2=WORKSHOP_W 3=BENCH0_W 4=BENCH1_W", "workshop key contact and bench number"),
    ("R75", "res", "4.7k", "1 % 0.125 W", "1=WORKSHOP 2=GND", "no plug reads 0"),
    ("R76", "res", "4.7k", "1 % 0.125 W", "1=BENCH0 2=GND", "no plug reads 0"),
    ("R77", "res", "4.7k", "1 % 0.125 W", "1=BENCH1 2=GND", "no plug reads 0"),
    ("R101", "res", "470", "1 % 0.125 W", "1=UP_W 2=UP", "harness wire: limits what a spark or a wrong wire drives into the pin"),
    ("R102", "res", "470", "1 % 0.125 W", "1=DOWN_W 2=DOWN", "harness wire: limits what a spark or a wrong wire drives into the pin"),
    ("R103", "res", "470", "1 % 0.125 W", "1=ENTER_W 2=ENTER", "harness wire: limits what a spark or a wrong wire drives into the pin"),
    ("R104", "res", "470", "1 % 0.125 W", "1=KEY_LOW_W 2=KEY_LOW", "harness wire: limits what a spark or a wrong wire drives into the pin"),
    ("R105", "res", "470", "1 % 0.125 W", "1=KEY_HIGH_W 2=KEY_HIGH", "harness wire: limits what a spark or a wrong wire drives into the pin"),
    ("R106", "res", "470", "1 % 0.125 W", "1=WORKSHOP_W 2=WORKSHOP", "harness wire: limits what a spark or a wrong wire drives into the pin"),
    ("R107", "res", "470", "1 % 0.125 W", "1=BENCH0_W 2=BENCH0", "harness wire: limits what a spark or a wrong wire drives into the pin"),
    ("R108", "res", "470", "1 % 0.125 W", "1=BENCH1_W 2=BENCH1", "harness wire: limits what a spark or a wrong wire drives into the pin"),
    ("D28", "esd-quad", "5 V", "5 V", "1=UP_W 2=DOWN_W 3=ENTER_W 4=KEY_LOW_W GND=GND", "sparks from hands"),
    ("D29", "esd-quad", "5 V", "5 V", "1=KEY_HIGH_W 2=WORKSHOP_W 3=BENCH0_W 4=BENCH1_W GND=GND", "sparks from hands"),
    ("D30", "esd-quad", "5 V", "5 V", "1=FEED 2=SDA_W 3=SCL_W 4=NC GND=GND", "sparks from hands"),
    ("R78", "res", "1k", "1 % 0.125 W", "1=BUZZER 2=Q10_B", "base"),
    ("R79", "res", "100k", "1 % 0.125 W", "1=Q10_B 2=GND", "base down"),
    ("Q10", "npn", "small signal", "45 V 0.1 A", "B=Q10_B C=BUZZ E=GND", "buzzer"),
    ("LS1", "buzzer", "5 V active piezo", "6 V 0.03 A", "1=V5 2=BUZZ", "buzzer"),
    ("R80", "res", "330", "1 % 0.125 W", "1=LAMP 2=LED", "lamp"),
    ("D20", "led", "white", "0.02 A", "A=LED K=GND", "lamp"),
)

SHEETS = {"power": POWER, "air": AIR, "coils": COILS, "cutoff": CUTOFF, "monitor": MONITOR, "sense": SENSE, "panel": PANEL}
SHEET_TITLES = {
    "power": "Supplies", "air": "Two switching elements: pulse-train gate and relay contact", "coils": "Relay coil, vent coil and what firmware sees",
    "cutoff": "Independent cutoff (no processor)", "monitor": "What the processor sees of the cutoff", "sense": "Transducers A and B, supplies, barometer", "panel": "Processor and controls",
}


GROUNDS = ("GND", "PGND", "CGND", "SGND")  # one potential, four returns; they meet in the star point only


@dataclass(frozen=True)
class Part:
    """One part: `pins` maps pin name to net, `limits` maps unit to number as read from its rating."""

    ref: str
    kind: str
    value: str
    rating: str
    pins: dict[str, str]
    why: str
    sheet: str

    @property
    def limits(self) -> dict[str, float]:
        """Figure by its name, or by its unit where it has no name. ValueError when two figures would have the same key."""
        words = self.rating.split()
        found: dict[str, float] = {}
        for figure, unit in zip(words[::2], words[1::2]):
            name, _, number = figure.rpartition(":")
            if (name or unit) in found:
                raise ValueError(f"{self.ref}: name the figures of {self.rating!r}: {unit} appears twice")
            found[name or unit] = float(number)
        return found


def load() -> dict[str, Part]:
    """All parts by reference. Raises ValueError on a reference written twice."""
    parts: dict[str, Part] = {}
    for sheet, rows in SHEETS.items():
        for ref, kind, value, rating, pins, why in rows:
            if ref in parts:
                raise ValueError(f"part {ref} is written twice")
            parts[ref] = Part(ref, kind, value, rating, dict(item.split("=", 1) for item in pins.split()), why, sheet)
    return parts


def nets(parts: dict[str, Part]) -> dict[str, list[tuple[str, str]]]:
    """Net -> [(reference, pin)], without the pins left open on purpose."""
    found: dict[str, list[tuple[str, str]]] = {}
    for part in parts.values():
        for pin, net in part.pins.items():
            if net != "NC":
                found.setdefault(net, []).append((part.ref, pin))
    return found


def ohms(text: str) -> float:
    """Resistance or capacitance text such as 4.7k, 470n, 1M in base units (ohm, farad)."""
    scale = {"k": 1e3, "M": 1e6, "u": 1e-6, "n": 1e-9, "p": 1e-12}
    return float(text[:-1]) * scale[text[-1]] if text[-1] in scale else float(text)
