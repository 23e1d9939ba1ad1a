"""The cautions that go with every result, and the standards it defers to."""

from chargewright.dossier.record import Standard

CAUTIONS = (
    "Results support design and review; they do not replace the cell maker's sheet, a certified protection in the "
    "pack, or test by qualified people. The cell maker's sheet outranks every curve used here.",
    "Lithium packs burn. Charge limits hold for each cell, never for the pack alone; never raise the charge voltage "
    "to gain capacity, and never charge below the cold limit: the damage is invisible and shows later.",
    "Do not bypass a thermistor, a timer or a protection switch to make a pack charge. A pack that was below its "
    "lowest voltage needs its maker's rule, which is often disposal.",
    "The charger is not the safety device: an independent second protection is needed. Take any one component as "
    "shorted or open.",
    "Never connect or test unattended. Use a current-limited supply, a fire-safe place, eye protection and a means "
    "of disconnection within reach; wear no metal. Know the pack's short-circuit current: tens to hundreds of "
    "amperes.",
    "A hot plug, an open sense wire or a wrong cell count destroys parts in microseconds: keep the order of the "
    "test plan.",
    "Writing to hardware needs a dry run, bounds, a read-back, a refresh, and a stop that returns to no charge. "
    "Reset values that are not known count as unsafe.",
    "A bidirectional supply is no pack: it has another impedance and no slope of rest voltage, and changes every loop.",
    "Figures of regulations carry their edition; the primary text rules, and region and class of product change the "
    "numbers.",
)

STANDARDS = (
    Standard(name="IEC 62133-2", subject="safety of portable lithium cells and packs"),
    Standard(name="IEC 62368-1, annex M", subject="safety of equipment with batteries"),
    Standard(name="UL 2054, UL 1642, UL 62133-2", subject="packs and cells in the United States"),
    Standard(name="IEC 61960-3", subject="rating and marking of lithium cells"),
    Standard(name="UN 38.3, 49 CFR 173.185, ICAO and IATA instructions", subject="transport"),
    Standard(name="IEC 62680-1-2, IEC 62680-1-3", subject="USB Power Delivery, USB Type-C"),
    Standard(name="System Management Bus, Smart Battery documents", subject="the wire to charger and pack"),
    Standard(name="IEC 61000-4-2, -4-4, -4-5, CISPR 32", subject="immunity and emission"),
    Standard(
        name="10 CFR 430; Reg. (EU) 2019/1782, then 2025/2052; Dir. (EU) 2022/2380",
        subject="energy of supplies and chargers, common charger",
    ),
    Standard(name="Reg. (EU) 2023/1542", subject="batteries"),
    Standard(name="IEEE 1625, IEEE 1725", subject="portable computers, cell phones"),
    Standard(name="ISO 13849, IEC 61508", subject="where life depends on a function"),
    Standard(name="local codes", subject="everything above, where they differ"),
)
