"""KiCad project generated from the circuit data: libraries, schematic sheets, and a tracer that reads the written sheets back."""
