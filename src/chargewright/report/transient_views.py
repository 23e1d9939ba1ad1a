"""Transients as views of the waveform page."""

from chargewright.report.waveform_page import Curve, View
from chargewright.studies.transients.record import QUANTITIES, TransientReport, Transients


def transient_views(found: Transients) -> tuple[View, ...]:
    """Return one view of each transient that was run."""
    return tuple(_view(report) for report in found.reports)


def _view(report: TransientReport) -> View:
    w = report.waves
    return View(
        key=report.key,
        title=report.title,
        note=f"{report.setting}. {report.verdict}",
        t=w.t,
        events=report.events,
        limits=report.limits,
        curves=tuple(
            Curve(
                key=key, title=title, unit=unit, mean=w.mean[key], low=w.low[key], high=w.high[key],
                drawn=key in report.drawn,
            )
            for key, (title, unit) in QUANTITIES.items()
            if key in w.mean
        ),
    )  # fmt: skip
