"""What a study of event orders takes for granted where neither design, parts nor controller say it."""

from dataclasses import dataclass

from chargewright.base.units import show
from chargewright.parts.usb_pd.timing import timer

_RECOVER = timer("tSrcRecover").t_max or 1.0
_MOVE = (timer("tSrcTransition").t_max or 0.035) + (timer("tSrcSettle").t_max or 0.275)


@dataclass(frozen=True, slots=True, kw_only=True)
class SequenceSettings:
    """Times, thresholds and habits, SI. Without another note: common practice."""

    t_off: float = 1.0
    """Off time of a source in hiccup."""
    t_attach: float = 1e-3
    """From plugging a source without contracts to its voltage."""
    t_attach_talks: float = 0.2
    """From plugging a Type-C source to its 5 V: the longest debounce (tCCDebounce, USB Type-C; from memory)."""
    t_move: float = _MOVE
    """From a request to the new voltage: tSrcTransition and tSrcSettle at their longest (USB PD)."""
    t_reset: float = _RECOVER
    """From a hard reset to 5 V: tSrcRecover at its longest (USB PD)."""
    t_dip: float = 0.2
    """A drop-out of the source, longer than its hold-up."""
    fold: float = 0.3
    """Current of a fold-back source into a short, over its limit."""
    beyond: float = 1.5
    """Most that a hiccup or latching source gives until it acts, over its trip current."""
    t_check: float = 20e-3
    """How long the input has to be good until the controller connects it."""
    t_retry: float = 0.5
    """Wait after an input that broke down."""
    slew: float = 5e3
    """Rise of the soft start [V/s]."""
    v_input: float = 4.0
    """Input from which a four-switch stage connects."""
    hysteresis: float = 0.05
    """Between letting go and connecting, of the input and of the load's reset [1]."""
    t_regulate: float = 50e-6
    """Lag of the regulation where no loop was designed."""
    t_switch: float = 20e-6
    """From a bus below the pack to a closed battery switch."""
    v_below: float = 0.03
    """How far the bus has to be below the pack for that."""
    t_help: float = 100e-6
    """Detection of a source at its limit, until a side stage turns round."""
    dwell: float = 2.0
    """Least time in supplement."""
    headroom: float = 0.05
    """Share of the source's limit that has to be free before supplement ends [1]."""
    t_cut: float = 0.1
    """Delay of the pack's under-voltage protection."""
    t_wake: float = 5.0
    """How long a pack whose protection is open takes to be woken."""
    t_shut: float = 0.05
    """How long an empty pack is stood until the product shuts itself down."""
    shut: float = 0.9925
    """Where it does, over the higher of the pack's and the rails' lowest voltage, as on the pack's ladder [1]."""
    t_boot: float = 2.0
    """How long starting takes, at the design's start-up power."""
    t_restart: float = 0.1
    """From a good bus to the start."""
    locks: bool = True
    """Whether a product that reset on the pack alone stays off until a source or another pack comes."""

    def said(self) -> tuple[str, ...]:
        """Return the values as sentences for the assumptions."""
        a = show
        return (
            f"A source in hiccup is off for {a(self.t_off, 's')}; until it acts it gives up to "
            f"{a(self.beyond, '1')} of its trip current; a fold-back source gives {a(self.fold, '1')} of its limit "
            "into a short.",
            f"A contract takes {a(self.t_move, 's')} from request to voltage, a hard reset {a(self.t_reset, 's')} to "
            f"5 V (the longest that the standard allows); 5 V come {a(self.t_attach_talks, 's')} after plugging.",
            f"The controller checks an input for {a(self.t_check, 's')}, lets it rise with {a(self.slew, 'V/s')} and "
            f"waits {a(self.t_retry, 's')} after one that broke down; limits have {a(self.hysteresis, '1')} of "
            "hysteresis and are set anew for every contract.",
            f"The battery switch closes {a(self.t_switch, 's')} after the bus has fallen {a(self.v_below, 'V')} below "
            f"the pack; a side stage turns round {a(self.t_help, 's')} after the source has reached its limit; "
            f"supplement lasts {a(self.dwell, 's')} at least and ends with {a(self.headroom, '1')} of the limit free.",
            f"The product needs {a(self.t_boot, 's')} to start and starts {a(self.t_restart, 's')} after its bus is "
            "good; it comes back with the load that it had"
            + (", and after a reset on the pack alone it waits for a source or another pack." if self.locks else "."),
            f"On the pack alone the product shuts itself down {a(self.t_shut, 's')} after its terminals have fallen to "
            f"{a(self.shut, '1')} of the lowest working voltage of pack and rails.",
            f"The pack's own protection cuts after {a(self.t_cut, 's')} and takes {a(self.t_wake, 's')} to be woken; "
            "its state of charge does not move while events run: it is flat, half full or full.",
        )
