"""Wires between the Pico (RP2040) and the rest of the inflator: the only place where the firmware names a GPIO number.

hardware/circuit.py states the same wires for the circuit; a test compares both, so a change in one place only fails.
Row: (name, GPIO number, direction, net). Directions: out, in, adc, spi, i2c. No internal pull is used: every input has its own
resistor on the board. Every output is safe at 0 and is held there by a resistor while the processor is missing or in reset.

Meaning of the levels:
GATE      one toggle a tick while the air may run; any steady level, high or low, stops it
RELAY     1 closes the relay contact (if the run switch is held and the independent cutoff agrees)
VENT      1 energises the normally-open vent and closes it; 0 opens it
RUN, KEY_LOW, KEY_HIGH, WORKSHOP, BENCH0, BENCH1, UP, DOWN, ENTER   1 = contact closed; a broken wire reads 0
CUTOFF    1 = independent cutoff healthy and closed, 0 = it has opened (or its wire is broken)
SPI_CS    rising edge starts a conversion; the next 16 clocks with SPI_CS low read it; SPI_MOSI stays 1
"""

PINS = (
    ("BENCH0", 0, "in", "BENCH0"),
    ("BENCH1", 1, "in", "BENCH1"),
    ("GATE", 2, "out", "GATE"),
    ("RELAY", 3, "out", "RELAY"),
    ("VENT", 4, "out", "VENT"),
    ("WORKSHOP", 5, "in", "WORKSHOP"),
    ("RUN", 6, "in", "RUN"),
    ("KEY_LOW", 7, "in", "KEY_LOW"),
    ("KEY_HIGH", 8, "in", "KEY_HIGH"),
    ("CUTOFF", 9, "in", "CUTOFF"),
    ("DISPLAY_SDA", 10, "i2c", "DISPLAY_SDA"),
    ("DISPLAY_SCL", 11, "i2c", "DISPLAY_SCL"),
    ("UP", 12, "in", "UP"),
    ("DOWN", 13, "in", "DOWN"),
    ("ENTER", 14, "in", "ENTER"),
    ("BUZZER", 15, "out", "BUZZER"),
    ("SPI_MISO", 16, "spi", "SPI_MISO"),
    ("SPI_CS", 17, "out", "SPI_CS"),
    ("SPI_SCK", 18, "spi", "SPI_SCK"),
    ("SPI_MOSI", 19, "spi", "SPI_MOSI"),
    ("BARO_SDA", 20, "i2c", "BARO_SDA"),
    ("BARO_SCL", 21, "i2c", "BARO_SCL"),
    ("LAMP", 22, "out", "LAMP"),
    ("ADC_B", 26, "adc", "ADC_B"),
    ("ADC_SUPPLY", 27, "adc", "ADC_SUPPLY"),
    ("ADC_PUMP", 28, "adc", "ADC_PUMP"),
)

# Ratios of the dividers in front of the converters, thousandths of the voltage at the net; the board data states the resistors.
ADC_B_MILLI = 600
ADC_SUPPLY_MILLI = 600
ADC_PUMP_MILLI = 175


def gpio(name: str) -> int:
    """GPIO number of a signal. KeyError for an unknown name. For start-up only, never in an interrupt."""
    for row in PINS:
        if row[0] == name:
            return row[1]
    raise KeyError(name)
