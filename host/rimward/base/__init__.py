"""What every room uses: units, errors, settings, logs, output, the air and its conditions."""
