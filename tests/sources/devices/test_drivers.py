"""Drivers of makers' libraries against devices of the same interface that do not exist."""

import inspect
import sys
import tomllib
from importlib import import_module
from pathlib import Path
from types import SimpleNamespace
from typing import ClassVar

import numpy as np
import pytest

from heavyspot.quantities.errors import SourceLost
from heavyspot.sources.devices import daqmx, uldaq_scan
from heavyspot.sources.sound_card import RigFile

RATE = 1000.0


def rig_of(driver, device="", unit="V", full_scale=10.0, rate=RATE, **settings):
    channel = {"name": "housing", "quantity": "acceleration", "unit": unit, "full_scale": full_scale,
               "sensitivity": {"value": 100.0, "unit": "mV/g"}}  # fmt: skip
    mark = {"name": "mark", "quantity": "phase", "unit": "V", "full_scale": full_scale}
    return RigFile.model_validate(
        {"name": "r", "driver": driver, "device": device, "settings": settings,
         "sample_rate_hz": rate, "channel": [channel, mark]}
    )  # fmt: skip


def taken(source, blocks):
    source.open()
    found = []
    for block in source.blocks():
        found.append(block)
        if len(found) == blocks:
            source.close()
    source.close()
    return found


class Fault(Exception):
    pass


class FakeTask:
    """``nidaqmx.Task`` and its reader: counts samples, as volts of 1/1000 a sample."""

    made: ClassVar[list["FakeTask"]] = []
    rate_hz = RATE
    fails_after = 10**9

    def __init__(self):
        self.channels, self.closed, self.at = [], False, 0
        self.ai_channels = SimpleNamespace(add_ai_voltage_chan=self._add)
        self.timing = SimpleNamespace(cfg_samp_clk_timing=self._clock, samp_clk_rate=self.rate_hz)
        self.in_stream = self
        FakeTask.made.append(self)

    def _add(self, physical_channel, *, terminal_config, min_val, max_val):
        self.channels.append(SimpleNamespace(name=physical_channel, range=(min_val, max_val)))
        return self.channels[-1]

    def _clock(self, rate, *, sample_mode, samps_per_chan):
        self.asked = (rate, sample_mode, samps_per_chan)

    def start(self):
        self.started = True

    def close(self):
        self.closed = True

    def read_many_sample(self, data, number_of_samples_per_channel, timeout):
        if self.at >= self.fails_after:
            raise Fault("samples were overwritten before they were read")
        at = self.at + np.arange(number_of_samples_per_channel)
        data[0], data[1] = at / 1000.0, -at / 1000.0
        self.at += number_of_samples_per_channel


@pytest.fixture
def tasks(monkeypatch):
    pytest.importorskip("nidaqmx")
    from nidaqmx import constants

    FakeTask.made.clear()
    library = SimpleNamespace(
        nidaqmx=SimpleNamespace(Task=FakeTask),
        constants=constants,
        errors=SimpleNamespace(Error=Fault),
        stream_readers=SimpleNamespace(AnalogMultiChannelReader=lambda stream: stream),
    )
    monkeypatch.setattr(daqmx, "_library", lambda: library)
    yield FakeTask.made
    FakeTask.rate_hz, FakeTask.fails_after = RATE, 10**9


def test_daqmx_delivers_shares_of_full_scale_in_order(tasks):
    rig = rig_of("nidaqmx", inputs="Dev1/ai0, Dev1/ai3", iepe_ma=2.0, terminals="pseudo_diff")
    blocks = taken(daqmx.DaqmxLive(rig), 3)
    (task,) = tasks
    assert [c.name for c in task.channels] == ["Dev1/ai0", "Dev1/ai3"] and task.closed
    assert task.channels[0].range == (-10.0, 10.0) and task.asked[0] == RATE
    assert task.channels[0].ai_excit_val == pytest.approx(0.002)
    assert not hasattr(task.channels[1], "ai_excit_val")  # the mark's sensor is not fed
    data = np.concatenate([b.data for b in blocks])
    assert [b.first_sample for b in blocks] == [0, 20, 40] and data.dtype == np.float32
    np.testing.assert_allclose(data[:, 0], np.arange(60) / 1000.0 / 10.0, atol=1e-7)
    np.testing.assert_allclose(data[:, 1], -data[:, 0])


def test_daqmx_says_what_is_wrong(tasks):
    for settings, words in (
        ({"inputs": "Dev1/ai0"}, "name other inputs"),
        ({"inputs": "a, b", "input": "x"}, 'no setting "input"'),
    ):
        with pytest.raises(SourceLost, match=words):
            daqmx.DaqmxLive(rig_of("nidaqmx", **settings))
    with pytest.raises(SourceLost, match="delivers volts"):
        daqmx.DaqmxLive(rig_of("nidaqmx", unit="g", inputs="a, b"))
    with pytest.raises(SourceLost, match="terminal configuration"):
        daqmx.DaqmxLive(rig_of("nidaqmx", inputs="a, b", terminals="both")).open()
    FakeTask.rate_hz = 1024.0
    with pytest.raises(SourceLost, match="1024 times a second, not 1000"):
        daqmx.DaqmxLive(rig_of("nidaqmx", inputs="a, b")).open()
    assert all(task.closed for task in tasks)


def test_daqmx_that_overruns_ends_the_capture_and_says_so(tasks):
    FakeTask.fails_after = 60
    source = daqmx.DaqmxLive(rig_of("nidaqmx", inputs="a, b"))
    source.open()
    with pytest.raises(SourceLost, match="overwritten before they were read"):
        list(source.blocks())


def test_the_fake_has_the_interface_of_the_library():
    """What is called here is there in the installed library, under these names."""
    pytest.importorskip("nidaqmx")
    from nidaqmx import constants
    from nidaqmx.errors import Error
    from nidaqmx.stream_readers import AnalogMultiChannelReader
    from nidaqmx.task import Task, Timing
    from nidaqmx.task.channels import AIChannel
    from nidaqmx.task.collections import AIChannelCollection

    def names(call):
        return set(inspect.signature(call).parameters)

    assert {"physical_channel", "terminal_config", "min_val", "max_val"} <= names(
        AIChannelCollection.add_ai_voltage_chan
    )
    assert {"rate", "sample_mode", "samps_per_chan"} <= names(Timing.cfg_samp_clk_timing)
    assert {"data", "number_of_samples_per_channel", "timeout"} <= names(
        AnalogMultiChannelReader.read_many_sample
    )
    assert {"ai_coupling", "ai_excit_src", "ai_excit_val"} <= set(dir(AIChannel))
    assert hasattr(Timing, "samp_clk_rate") and hasattr(Task, "in_stream")
    assert constants.AcquisitionType.CONTINUOUS and constants.ExcitationSource.INTERNAL
    assert issubclass(Error, Exception)


class FakeScan:
    """A device of ``uldaq``: fills its ring by itself, at a pace that is set."""

    def __init__(self, per_look=20, lags=0):
        self.per_look, self.lags, self.count, self.stopped, self.released = (
            per_look,
            lags,
            0,
            False,
            False,
        )
        self.fed: list[int] = []

    def __call__(self, descriptor):
        self.descriptor = descriptor
        return self

    def connect(self, connection_code=0):
        pass

    def disconnect(self):
        pass

    def release(self):
        self.released = True

    def get_ai_device(self):
        return self

    def get_config(self):
        return SimpleNamespace(set_chan_iepe_mode=lambda channel, mode: self.fed.append(channel))

    def a_in_scan(self, low_channel, high_channel, input_mode, analog_range, samples_per_channel, rate,
                  options, flags, data):  # fmt: skip
        self.range, self.size = analog_range, samples_per_channel
        self.ring = np.frombuffer(data, np.float64).reshape(samples_per_channel, -1)
        self.first = low_channel
        return rate

    def get_scan_status(self):
        if self.lags:  # nobody looked for a long time: the ring went round
            step, self.lags = self.lags, 0
        else:
            step = self.per_look
        at = self.count + np.arange(step)
        for place, value in zip(at % self.size, at, strict=True):
            self.ring[place] = (value / 1000.0, -value / 1000.0)
        self.count += step
        return 1, SimpleNamespace(current_scan_count=self.count)

    def scan_stop(self):
        self.stopped = True


@pytest.fixture
def scan(monkeypatch):
    def use(fake):
        class Names:
            def __getattr__(self, name):
                return name

        one = SimpleNamespace(unique_id="01A", product_name="x")
        library = SimpleNamespace(
            AiInputMode=SimpleNamespace(SINGLE_ENDED=2, DIFFERENTIAL=1), Range=Names(),
            ScanOption=SimpleNamespace(CONTINUOUS=8), AInScanFlag=SimpleNamespace(DEFAULT=0),
            InterfaceType=SimpleNamespace(ANY=7), IepeMode=SimpleNamespace(ENABLED=2),
            ScanStatus=SimpleNamespace(RUNNING=1), ULException=Fault, DaqDevice=fake,
            get_daq_device_inventory=lambda kind: [one],
            create_float_buffer=lambda n, size: np.zeros(n * size),
        )  # fmt: skip
        monkeypatch.setattr(uldaq_scan, "_library", lambda: library)
        return fake

    return use


def test_uldaq_delivers_every_sample_once(scan):
    fake = scan(FakeScan())
    blocks = taken(uldaq_scan.UldaqLive(rig_of("uldaq", "01A", first_input=4, iepe=True)), 5)
    data = np.concatenate([b.data for b in blocks])
    np.testing.assert_allclose(data[:, 0], np.arange(len(data)) / 1e4, atol=1e-7)
    assert (fake.first, fake.range, fake.fed) == (4, "BIP10VOLTS", [4])
    assert fake.stopped and fake.released and not any(b.lost for b in blocks)


def test_uldaq_counts_what_the_ring_wrote_over(scan):
    size = round(uldaq_scan.RING_S * RATE)
    scan(FakeScan(lags=size + 300))
    first, second = taken(uldaq_scan.UldaqLive(rig_of("uldaq")), 2)
    assert first.lost >= 300 and first.first_sample == first.lost
    np.testing.assert_allclose(
        first.data[:, 0], (first.first_sample + np.arange(len(first.data))) / 1e4, rtol=1e-5
    )
    assert second.lost == 0 and second.first_sample == first.first_sample + len(first.data)


def test_uldaq_says_what_is_wrong(scan, monkeypatch):
    scan(FakeScan())
    with pytest.raises(SourceLost, match='No device "99"') as fault:
        uldaq_scan.UldaqLive(rig_of("uldaq", "99")).open()
    assert "01A" in fault.value.remedy
    with pytest.raises(SourceLost, match="one range"):
        uldaq_scan.UldaqLive(rig_of("uldaq", full_scale=3.0))
    monkeypatch.setattr(uldaq_scan, "SILENT_S", 0.05)
    scan(FakeScan(per_look=0))
    source = uldaq_scan.UldaqLive(rig_of("uldaq"))
    source.open()
    with pytest.raises(SourceLost, match="nothing any more"):
        list(source.blocks())


@pytest.mark.parametrize(("module", "library"), [(daqmx, "nidaqmx"), (uldaq_scan, "uldaq")])
def test_a_missing_library_is_named_with_its_extra(monkeypatch, module, library):
    monkeypatch.setitem(sys.modules, library, None)
    with pytest.raises(SourceLost, match=f"{library} is not installed") as fault:
        module._library()
    assert f"pip install heavyspot[{library}]" in fault.value.remedy


def test_the_entry_points_lead_to_them_and_import_no_library():
    import subprocess

    project = tomllib.loads((Path(__file__).parents[3] / "pyproject.toml").read_text())["project"]
    points = project["entry-points"]["heavyspot.live"]
    assert set(points) == {"nidaqmx", "uldaq"} <= set(project["optional-dependencies"])
    for place in points.values():
        module, name = place.split(":")
        assert getattr(import_module(module), name)
    code = "import sys, heavyspot.sources.devices.daqmx, heavyspot.sources.devices.uldaq_scan as u;"
    code += "import heavyspot.sources.devices.slow; print({'nidaqmx','uldaq','serial'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"
