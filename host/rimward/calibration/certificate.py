"""The certificate-like report of a calibration: HTML with its picture inside. It is the workshop's own record, not accredited."""

import base64
import html
import io
import time
from pathlib import Path

from rimward.calibration.fit import Calibrated
from rimward.calibration.run import Reference
from rimward.units import show_reading

STYLE = """body{font:16px/1.5 system-ui,sans-serif;max-width:56rem;margin:2rem auto;padding:0 1rem;color:#1b1b1b}
table{border-collapse:collapse;margin:1rem 0}td,th{border:1px solid #888;padding:.3rem .6rem;text-align:right}
th{background:#eee}td:first-child,th:first-child{text-align:left}img{max-width:100%}.note{border-left:4px solid #a32020;padding:.5rem 1rem}"""


def picture(result: Calibrated) -> bytes:
    """PNG of both transducers' deviations before and after."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(1, 2, figsize=(10, 3.8), dpi=110, sharey=True)
    for ax, channel in zip(axes, result.channels):
        for rising, mark in ((True, "^"), (False, "v")):
            points = [p for p in result.points if p.rising is rising]
            true = [p.reference_pa / 1e5 for p in points]
            read = [getattr(p, f"{channel.name}_pa") for p in points]
            ax.plot(true, [(r - p.reference_pa) / 1e3 for r, p in zip(read, points)], mark, color="#9a6b00", label=f"as found, {_way(rising)}")
            after = [(channel.gain * r + channel.offset_pa - p.reference_pa) / 1e3 for r, p in zip(read, points)]
            ax.plot(true, after, mark, color="#1f4e79", fillstyle="none", label=f"corrected, {_way(rising)}")
        ax.axhline(0, color="#555555", linewidth=0.8)
        ax.set_title(f"transducer {channel.name.upper()}", loc="left", fontsize=11)
        ax.set_xlabel("reference, bar gauge")
    axes[0].set_ylabel("deviation, kPa")
    axes[1].legend(fontsize=8, frameon=False)
    figure.tight_layout()
    out = io.BytesIO()
    figure.savefig(out, format="png")
    pyplot.close(figure)
    return out.getvalue()


def _way(rising: bool) -> str:
    return "rising" if rising else "falling"


def write_certificate(result: Calibrated, reference: Reference, device: str, to: Path, written: bool = True) -> list[Path]:
    """Writes the HTML page and, beside it, its picture as PNG; gives both paths. `written`: the inflator has taken the result."""
    png = picture(result)
    beside = to.with_suffix(".png")
    beside.write_bytes(png)
    to.write_text(_page(result, reference, device, png, written), encoding="utf-8")
    return [to, beside]


def _page(result: Calibrated, reference: Reference, device: str, png: bytes, written: bool) -> str:
    rows = "".join(
        f"<tr><td>{_way(p.rising)}</td><td>{show_reading(p.reference_pa)}</td><td>{p.a_pa / 1e3:.2f}</td><td>{p.b_pa / 1e3:.2f}</td>"
        f"<td>{p.spread_pa:.0f}</td></tr>"
        for p in result.points
    )
    channels = "".join(
        f"<tr><td>{c.name.upper()}</td><td>{c.gain:.5f}</td><td>{c.offset_pa:.0f}</td><td>{c.residual_pa:.0f}</td><td>{c.hysteresis_pa:.0f}</td>"
        f"<td>{c.repeatability_pa:.0f}</td><td>{c.expanded_pa:.0f}</td><td>{c.guard_pa}</td></tr>"
        for c in result.channels
    )
    budget = "".join(
        f"<tr><td>{html.escape(name)}</td>" + "".join(f"<td>{c.terms.get(name, 0.0):.0f}</td>" for c in result.channels) + "</tr>"
        for name in sorted({name for c in result.channels for name in c.terms})
    )
    first = result.points[0]
    trial = "" if written else '<p class="note"><strong>A trial: nothing was written to the inflator. It goes on with what it had.</strong></p>'
    return f"""<!doctype html><html lang="en"><meta charset="utf-8"><title>Calibration of inflator {html.escape(device)}</title>
<style>{STYLE}</style><h1>Calibration of inflator {html.escape(device)}</h1>
<p>{time.strftime("%Y-%m-%d")}; air {first.air_ck / 100 - 273.15:.1f} &deg;C, ambient {first.ambient_pa / 1000:.2f} kPa absolute.
Reference: {html.escape(reference.name)}, U = {reference.expanded_pa:.0f} Pa (k = {reference.k:g}), resolution {reference.resolution_pa:.0f} Pa,
certificate {reference.certificate or "none given"}. All pressures gauge.</p>
{trial}<p><strong>Guard band of this inflator: {result.guard_pa / 1e5:.3f} bar ({result.guard_pa / 6894.757:.2f} psi).</strong> It stops that far below a
ceiling. It is never below the class bound of its transducers, nor below the reference's U plus resolution.</p>
<img alt="Deviation of both transducers from the reference, as found and corrected" src="data:image/png;base64,{base64.b64encode(png).decode()}">
<h2>Points</h2><table><tr><th>way</th><th>reference</th><th>A, kPa</th><th>B, kPa</th><th>spread, Pa</th></tr>{rows}</table>
<h2>Fit</h2><table><tr><th></th><th>gain</th><th>offset, Pa</th><th>largest residual, Pa</th><th>hysteresis, Pa</th><th>repeatability, Pa</th>
<th>U (95 %), Pa</th><th>guard band, Pa</th></tr>{channels}</table>
<h2>Uncertainty, standard, Pa</h2><table><tr><th>term</th><th>A</th><th>B</th></tr>{budget}</table>
<p class="note">The workshop's own record, after the manner of EURAMET cg-17; not an accredited certificate. Calibrate again within 12 months: the
inflator widens its guard band after that and locks its pump after 24.</p></html>
"""
