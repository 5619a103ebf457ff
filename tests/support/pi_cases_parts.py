"""What each check of settings, bus, pins and power is to say of a machine."""

import errno

from pi_spoils import (
    CONFIG_TXT,
    FLAGS,
    HERTZ,
    KEPT,
    OURS,
    Spoil,
    block,
    chip,
    claimed,
    config_txt,
    hidden,
    level,
    no_pi,
    no_settings,
    own,
    probe,
    process,
    remove,
    settings,
    unasked,
    unit,
    write,
)
from pi_tree import GPIO, I2C, RUN, STATE

from supervisor.devices.errors import HardwareMissing
from supervisor.host.check_answer import State
from supervisor.settings.hardware import SecondLine

FAULT, WARNING, CANNOT_TELL, NOTE, GOOD = State
LEVEL_KEPT = (level, write(KEPT, "Y\n"))
LINE = SecondLine(converter="current", inputs="0-1", trip_volts=3.64, release_volts=3.4, pin=26)

# The check, its answer, words of it, and what is changed before.
CASES: list[tuple[str, State, str, tuple[Spoil, ...]]] = [
    # --- settings
    ("settings.fit", GOOD, "fit for use", ()),
    ("settings.fit", CANNOT_TELL, "there are none", (no_settings,)),
    ("settings.commissioned", NOTE, "nobody may have tried", ()),
    # --- I2C bus
    ("bus.device", GOOD, "/dev/i2c-1 is there", ()),
    ("bus.device", FAULT, "there is no /dev/i2c-1", (remove("/dev/i2c-1"),)),
    ("bus.device", FAULT, "no Raspberry Pi", (remove("/dev/i2c-1"), no_pi)),
    ("bus.access", GOOD, "holdwatch may read and write", ()),
    ("bus.access", FAULT, "root:gpio 0660", (
        own("/dev/i2c-1", 0, GPIO, 0o020660), unit("SupplementaryGroups=", "Group=holdwatch"),)),
    ("bus.access", FAULT, "root:i2c 0640", (own("/dev/i2c-1", 0, I2C, 0o020640),)),
    ("bus.access", FAULT, "root:root 0600", (own("/dev/i2c-1", 0, 0, 0o020600),)),
    ("bus.access", CANNOT_TELL, "does not exist", (write("/etc/passwd", "root:x:0:0:::\n"),)),
    ("bus.speed", NOTE, "400 kHz, bus.kilohertz says 100", ()),
    ("bus.speed", GOOD, "400 kHz", (block("bus", kilohertz=400),)),
    ("bus.speed", NOTE, "100 kHz", (write(HERTZ, (100_000).to_bytes(4, "big")),)),
    ("bus.speed", FAULT, "100 kHz, bus.kilohertz says 400", (
        block("bus", kilohertz=400), write(HERTZ, (100_000).to_bytes(4, "big")))),
    ("bus.speed", FAULT, "10 kHz", (write(HERTZ, (10_000).to_bytes(4, "big")),)),
    ("bus.speed", CANNOT_TELL, "does not say", (remove(HERTZ),)),
    ("bus.speed", CANNOT_TELL, "does not say", (write(HERTZ, b"\0\1\2"),)),
    ("bus.speed", CANNOT_TELL, "does not say", (write(HERTZ, b"\0\0\0\0"),)),
    ("bus.others", GOOD, "is free", ()),
    ("bus.others", GOOD, "nobody but holdwatch", (
        process("/opt/v/bin/python /opt/v/bin/holdwatch run x.yaml", "/dev/i2c-1"),)),
    ("bus.others", WARNING, "python3 (process 812) has", (
        process("/usr/bin/python3 mine.py", "/dev/null", "/dev/i2c-1"),)),
    ("bus.others", CANNOT_TELL, "may not look at all", (hidden,)),
    ("bus.others", WARNING, "0x49: ads1115", (
        write("/sys/bus/i2c/devices/1-0049/name", "ads1115\n"),)),
    # --- converters
    ("chips.answering", GOOD, "as after power-on", ()),
    ("chips.answering", GOOD, "as a run left it", (chip(0x48, 0xC3E3), chip(0x49, 0xC3E3))),
    ("chips.answering", FAULT, "does not answer at 0x49 (remote i/o error)", (
        chip(0x49, OSError(errno.EREMOTEIO, "Remote I/O error")),)),
    ("chips.answering", FAULT, "reads 0000h", (chip(0x48, 0x0000),)),
    ("chips.answering", FAULT, "reads FFFFh", (chip(0x48, 0xFFFF),)),
    ("chips.answering", WARNING, "something else: 0583h", (chip(0x48, 0x0583),)),
    ("chips.answering", NOTE, "converts without end", (chip(0x49, 0x4283),)),
    ("chips.answering", GOOD, "as", (chip(0x49, 0x4283), settings(second_line=LINE))),
    ("chips.answering", CANNOT_TELL, "no settings", (no_settings,)),
    ("chips.answering", CANNOT_TELL, "there is no /dev/i2c-1", (remove("/dev/i2c-1"),)),
    ("chips.answering", CANNOT_TELL, "python3 (process 812) has the bus", (
        process("/usr/bin/python3 mine.py", "/dev/i2c-1"),)),
    ("chips.answering", CANNOT_TELL, "may not look at all", (hidden,)),
    ("chips.answering", CANNOT_TELL, "no permission", (
        lambda tree: setattr(tree.kernel, "missing", HardwareMissing("no permission", "")),)),
    ("chips.answering", CANNOT_TELL, "may be at work", (claimed(RUN),)),
    ("chips.answering", CANNOT_TELL, "in /run/holdwatch/other: the bus may be in use", (
        claimed("/run/holdwatch/other"),)),
    ("chips.answering", CANNOT_TELL, "may be at work", (claimed(STATE),)),
    ("chips.answering", CANNOT_TELL, "another holdwatch is at work in /tmp/x: the bus may", (
        process("python3 /v/bin/holdwatch run --run-dir /tmp/x --state-dir /tmp/y x.yaml"),)),
    ("chips.answering", CANNOT_TELL, "may be at work", (
        process("python3 -m supervisor run x.yaml"),)),
    ("chips.answering", FAULT, "sink does not answer", (probe(chip="lm75", address=0x4C),)),
    ("chips.answering", GOOD, "answers at 0x4C", (
        probe(chip="lm75", address=0x4C), chip(0x4C, 0x0000))),
    ("chips.one_wire", FAULT, "28-0123456789ab", (
        probe(chip="ds18b20", serial="28-0123456789ab"),)),
    ("chips.one_wire", GOOD, "sink", (
        probe(chip="ds18b20", serial="28-0123456789ab"),
        write("/sys/bus/w1/devices/28-0123456789ab/w1_slave", ""))),
    # --- pins
    ("gpio.chip", GOOD, "pinctrl-bcm2711", ()),
    ("gpio.chip", FAULT, "no GPIO chip", (remove("/dev/gpiochip0"),)),
    ("gpio.chip", FAULT, "no GPIO chip is labelled elsewhere", (
        block("gpio", chip_label="elsewhere"),)),
    ("gpio.chip", CANNOT_TELL, "may not ask /dev/gpiochip0", (unasked,)),
    ("gpio.access", GOOD, "holdwatch may read and write /dev/gpiochip0", ()),
    ("gpio.access", FAULT, "root:gpio 0400", (own("/dev/gpiochip0", 0, GPIO, 0o020400),)),
    ("gpio.access", CANNOT_TELL, "not known", (unasked, write("/dev/gpiochip1", ""))),
    ("gpio.kept_level", GOOD, "pulse drive", (write(KEPT, "Y\n"),)),
    ("gpio.kept_level", FAULT, "keeps the level", (*LEVEL_KEPT, unit("ExecStopPost="))),
    ("gpio.kept_level", FAULT, "keeps the level", (*LEVEL_KEPT, remove(OURS))),
    ("gpio.kept_level", WARNING, "keeps the level", (
        *LEVEL_KEPT, unit("ExecStopPost=/opt/holdwatch/bin/holdwatch drop --run-dir x"))),
    ("gpio.kept_level", FAULT, "though config.txt says", (
        *LEVEL_KEPT, unit("ExecStopPost="), config_txt("dtparam=strict_gpiod\n"))),
    ("gpio.kept_level", WARNING, "not that of one that stands", (level,)),
    ("gpio.kept_level", WARNING, "keeps the level", (no_settings, write(KEPT, "Y\n"))),
    ("gpio.kept_level", GOOD, "lets go", (no_settings,)),
    ("gpio.kept_level", CANNOT_TELL, "whether", (level, remove(KEPT))),
    ("gpio.kept_level", CANNOT_TELL, "whether", (level, write(KEPT, "maybe"))),
    ("gpio.power_on", GOOD, "held low", ()),
    ("gpio.power_on", NOTE, "by the chip alone", (config_txt("gpio=17=op,dl\n"),)),
    ("gpio.power_on", FAULT, "GPIO 17 (contactor) op, dh", (config_txt("gpio=10-20=op,dh"),)),
    ("gpio.power_on", FAULT, "GPIO 22 (mains_contactor) pu", (config_txt("gpio=22=pu"),)),
    ("gpio.power_on", WARNING, "has other uses", (block("contactor", pin=12),)),
    ("gpio.power_on", CANNOT_TELL, "not a Raspberry Pi", (remove(CONFIG_TXT), no_pi)),
    ("gpio.taken", GOOD, "GPIO 17, 22, 27", ()),
    ("gpio.taken", FAULT, "by somebody", (lambda tree: tree.kernel.used.update({17: "somebody"}),)),
    ("gpio.taken", FAULT, "the kernel", (lambda tree: tree.kernel.used.update({23: ""}),)),
    ("gpio.taken", FAULT, "dtoverlay=gpio-fan,gpiopin=27", (
        config_txt("dtoverlay=gpio-fan,gpiopin=27\n"),)),
    ("gpio.taken", FAULT, "dtoverlay=w1-gpio", (
        config_txt("dtoverlay=w1-gpio\n"), block("contactor", pin=4))),
    ("gpio.taken", FAULT, "SPI", (config_txt("dtparam=spi=on\n"), block("contactor", pin=9))),
    ("gpio.taken", FAULT, "SPI", (config_txt("dtparam=audio=on,spi\n"), block("contactor", pin=9))),
    ("gpio.taken", GOOD, "are free", (
        config_txt("dtparam=spi=on\ndtparam=spi=off\n#dtoverlay=x,gpiopin=17\n"
                   "[none]\ndtoverlay=x,gpiopin=17\n"), block("contactor", pin=9))),
    ("gpio.taken", GOOD, "its own", (claimed(RUN),)),
    ("gpio.taken", GOOD, "are free", (claimed("/run/holdwatch/other"),)),
    ("gpio.taken", FAULT, "by holdwatch", (
        claimed("/run/holdwatch/other"),
        lambda tree: tree.kernel.used.update({17: "holdwatch"}))),
    ("gpio.taken", CANNOT_TELL, "no settings", (no_settings,)),
    ("gpio.taken", CANNOT_TELL, "cannot be asked", (unasked,)),
    ("gpio.others", GOOD, "is free", ()),
    ("gpio.others", WARNING, "fan (process 812)", (process("/usr/bin/fan", "/dev/gpiochip0"),)),
    ("gpio.others", CANNOT_TELL, "may not look", (hidden,)),
    # --- power and heat
    ("power.voltage", GOOD, "has held", ()),
    ("power.voltage", FAULT, "too low now", (write(FLAGS, "50005\n"),)),
    ("power.voltage", WARNING, "was too low", (write(FLAGS, "50000\n"),)),
    ("power.voltage", GOOD, "has held", (write(FLAGS, "80008\n"),)),
    ("power.voltage", CANNOT_TELL, "firmware does not say", (remove(FLAGS),)),
    ("power.voltage", CANNOT_TELL, "not a Raspberry Pi", (remove(FLAGS), no_pi)),
    ("power.voltage", CANNOT_TELL, "firmware does not say", (write(FLAGS, "-1\n"),)),
    ("power.slowed", GOOD, "never", ()),
    ("power.slowed", WARNING, "is being slowed", (write(FLAGS, "0x4\n"),)),
    ("power.slowed", WARNING, "was, since the start, slowed", (write(FLAGS, "80000\n"),)),
    ("power.slowed", GOOD, "never", (write(FLAGS, "10001\n"),)),
    ("power.slowed", CANNOT_TELL, "does not say", (remove(FLAGS),)),
    *(("power.temperature", state, f"{celsius} °C", (
        write("/sys/class/thermal/thermal_zone0/temp", f"{celsius}000\n"),))
      for celsius, state in ((69, GOOD), (70, NOTE), (79, NOTE), (80, WARNING))),
    ("power.temperature", CANNOT_TELL, "does not say", (
        write("/sys/class/thermal/thermal_zone0/type", "battery\n"),)),
]  # fmt: skip
