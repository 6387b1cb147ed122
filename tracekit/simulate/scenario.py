"""What is simulated: a station, what is wrong with it, how many picks, one seed."""

from collections.abc import Mapping
from dataclasses import field
from typing import Any

from tracekit.frozen import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """The surroundings."""

    ambient_kpa: float = 100.8
    ambient_rate_kpa_h: float = 0.0
    temperature_c: float = 21.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Volumes:
    """The space under vacuum, in two parts with the filter between them.

    `wall_time_s` are time constants of heat exchange with the walls at ambient pressure (shorter as gas thins);
    `convection` shortens them while gas streams. `lost_below_kpa`: vacuum in the cup below which the part falls.
    """

    generator_ml: float = 28.0
    cup_ml: float = 36.0
    wall_time_s: tuple[float, float] = (0.10, 0.16)
    convection: float = 0.6
    filter_c: float = 1.3
    filter_b: float = 0.4
    open_cup_kpa: float = 6.0
    residual_leak_kpa_s: float = 0.3
    residual_leak_b: float = 0.3
    residual_scatter: float = 0.06
    lost_below_kpa: float = 12.0
    lip_close_s: float = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """The compressed-air line behind its regulator; gauge pressures."""

    pressure_kpa: float = 450.0
    droop_kpa: float = 18.0
    droop_lag_s: float = 0.04
    wander_kpa: float = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Ejector:
    """The generator. `time_constant_s` is V·(vacuum at no flow)/(100 kPa·suction flow at ambient).

    `back_flow_c` [dm³/(s·bar)]: the way back through the generator while it is off; 0 with a tight check valve.
    """

    time_constant_s: float = 0.12
    vacuum_ratio: float = 0.84
    bend: float = 0.15
    nozzle_flow_l_min: float = 36.0
    optimum_kpa: float = 450.0
    lag_on_s: float = 0.015
    lag_off_s: float = 0.012
    back_flow_c: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Valves:
    """Supply and release valve: delays from command to flow, wiring of the logged supply command.

    `cold_s` comes on top in the first cycle, after a standstill.
    """

    delay_on_s: float = 0.014
    delay_off_s: float = 0.011
    scatter_s: float = 0.0008
    cold_s: float = 0.0
    normally_open: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Release:
    """Blow-off. A negative dead time opens the release before the supply is shut."""

    conductance_c: float = 0.08
    duration_s: float = 0.2
    dead_time_s: float = 0.01
    delay_s: float = 0.012
    lag_s: float = 0.008


@dataclass(frozen=True, slots=True, kw_only=True)
class Switch:
    """The pressure switch, in kPa of vacuum as the device reads."""

    set_point_kpa: float = 56.0
    reset_point_kpa: float = 51.0
    response_on_s: float = 0.005
    response_off_s: float = 0.005
    reversed_output: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Saving:
    """The air-saving loop."""

    supply_off_kpa: float = 70.0
    supply_on_kpa: float = 63.0
    tick_s: float = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Sequencer:
    """The machine's programme; times in seconds. `dip_kpa`: vacuum lost at each acceleration by lifted lips."""

    lift_on: str = "part_present"
    approach_s: float = 0.12
    approach_scatter_s: float = 0.01
    settle_s: float = 0.04
    lift_timer_s: float = 0.5
    timeout_s: float = 1.5
    retries: int = 0
    retry_pause_s: float = 0.2
    transport_s: float = 1.2
    transport_scatter_s: float = 0.05
    idle_s: float = 0.5
    idle_scatter_s: float = 0.15
    lead_s: float = 0.15
    tick_s: float = 0.005
    dip_kpa: float = 0.4
    dip_s: float = 0.2
    abort_on_loss: bool = False
    paced_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """The pressure sensor; gauge kPa. `coloured_share` of the noise variance is seen by the switch too."""

    side: str = "generator"
    lag_s: float = 0.003
    gain_error: float = 0.0
    offset_kpa: float = 0.0
    noise_kpa: float = 0.08
    coloured_share: float = 0.5
    noise_time_s: float = 0.006
    step_kpa: float = 0.1
    low_kpa: float = -101.3
    high_kpa: float = 10.0
    spikes_per_s: float = 0.0
    spike_kpa: float = 0.0
    pulsation_kpa: float = 0.0
    pulsation_hz: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorder:
    """The data logger. `digital_late_s`: digitals are read that much later than the pressure.

    `low_kpa` is the end of its own input range, gauge; the device in front of it goes on to the sensor's end.
    `supply_signal`: "valve" logs the supply command, "request" what the programme asks of a device that saves air by
    itself, "pulse" the two coils of a pulse valve. Without `release_logged` there is no such column.
    """

    rate_hz: float = 200.0
    jitter_s: float = 0.0
    missing_share: float = 0.0
    gaps: int = 0
    gap_s: float = 0.5
    digital_late_s: float = 0.0
    time_digits: int = 6
    low_kpa: float = -110.0
    supply_signal: str = "valve"
    pulse_s: float = 0.05
    release_logged: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class StationSpec:
    """One station, complete."""

    name: str = "Loader 2"
    air: Air = Air()
    volumes: Volumes = Volumes()
    supply: Supply = Supply()
    ejector: Ejector = Ejector()
    valves: Valves = Valves()
    release: Release = Release()
    switch: Switch = Switch()
    saving: Saving | None = Saving()
    sequencer: Sequencer = Sequencer()
    sensor: Sensor = Sensor()
    recorder: Recorder = Recorder()


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """Something done to the station from `onset_cycle` to before `end_cycle`; sizes are named per label in `faults`."""

    label: str
    onset_cycle: int = 0
    end_cycle: int | None = None
    kind: str = ""
    size: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """A log to be made. `marks` goes into the truth as it stands (pairs, series)."""

    name: str
    about: str = ""
    seed: int = 1
    severity: int = 1
    start: str = "2031-03-03T06:00:00"
    cycles: int = 40
    station: StationSpec = StationSpec()
    faults: tuple[Fault, ...] = ()
    marks: Mapping[str, Any] = field(default_factory=dict)
