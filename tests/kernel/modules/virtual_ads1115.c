// SPDX-License-Identifier: MIT
/*
 * A virtual I2C adapter that carries ADS1115 converters, for tests of the daemon on a real kernel.
 *
 * Registers, reset values and timing after the data sheet (Texas Instruments SBAS444); errors as
 * the Raspberry Pi's i2c-bcm2835 returns them. What the inputs show and what is wrong with a chip
 * is set below /sys/kernel/debug/virtual_ads1115/ADDRESS/.
 */
#include <linux/debugfs.h>
#include <linux/delay.h>
#include <linux/i2c.h>
#include <linux/ktime.h>
#include <linux/math64.h>
#include <linux/module.h>
#include <linux/mutex.h>

#define CONVERSION 0
#define CONFIG 1
#define OS 0x8000
#define SINGLE_SHOT 0x0100
#define CONFIG_RESET 0x8583
#define LO_THRESH_RESET 0x8000
#define HI_THRESH_RESET 0x7FFF
#define CHIPS 4
#define INPUTS 8

static const s64 full_scale_uv[] = {
	6144000, 4096000, 2048000, 1024000, 512000, 256000, 256000, 256000
};
static const u32 samples_per_s[] = { 8, 16, 32, 64, 128, 250, 475, 860 };

/* The first fields are the knobs and counters that debugfs shows. */
struct chip {
	u32 input_uv[INPUTS]; /* by the multiplexer's setting; two's complement */
	u32 fails_with; /* errno of every transfer; 0: none */
	u32 hangs_ms; /* before each transfer */
	u32 slow_percent; /* of the nominal conversion time; 100 is nominal */
	u32 frozen; /* the conversion register never changes again */
	u32 brown_out; /* once: reset before the next transfer */
	u32 transfers;
	u32 conversions;
	u16 registers[4];
	u8 pointer;
	bool is_running;
	u16 running_config;
	ktime_t ends;
};

static u8 addresses[CHIPS] = { 0x48, 0x49, 0x4a, 0x4b };
static struct chip chips[CHIPS];
static DEFINE_MUTEX(bus);
static struct dentry *folder;

static int number = 1;
module_param(number, int, 0444);
MODULE_PARM_DESC(number, "N of /dev/i2c-N");

static bool deaf;
module_param(deaf, bool, 0644);
MODULE_PARM_DESC(deaf, "A driver that keeps to no timeout");

static void reset(struct chip *chip)
{
	chip->registers[0] = 0;
	chip->registers[1] = CONFIG_RESET;
	chip->registers[2] = LO_THRESH_RESET;
	chip->registers[3] = HI_THRESH_RESET;
	chip->pointer = CONVERSION;
	chip->is_running = false;
}

static u64 period_ns(const struct chip *chip, u16 config)
{
	u64 nominal_ns = div_u64(NSEC_PER_SEC, samples_per_s[config >> 5 & 7]);

	return div_u64(nominal_ns * chip->slow_percent, 100);
}

static void start(struct chip *chip, ktime_t now)
{
	chip->is_running = true;
	chip->running_config = chip->registers[CONFIG];
	chip->ends = ktime_add_ns(now, period_ns(chip, chip->running_config) + 25000);
}

static u16 code(const struct chip *chip)
{
	s64 uv = (s32)chip->input_uv[chip->running_config >> 12 & 7];
	s64 lsb = div_s64(uv * 32768, full_scale_uv[chip->running_config >> 9 & 7]);

	return (u16)clamp_t(s64, lsb, -32768, 32767);
}

static void catch_up(struct chip *chip)
{
	ktime_t now = ktime_get();

	if (!chip->is_running || ktime_before(now, chip->ends))
		return;
	chip->conversions++;
	if (!chip->frozen)
		chip->registers[CONVERSION] = code(chip);
	chip->is_running = false;
	if (!(chip->registers[CONFIG] & SINGLE_SHOT))
		start(chip, now);
}

static void take(struct chip *chip, const struct i2c_msg *msg)
{
	if (msg->len)
		chip->pointer = msg->buf[0] & 3;
	if (msg->len < 3 || chip->pointer == CONVERSION)
		return;
	chip->registers[chip->pointer] = msg->buf[1] << 8 | msg->buf[2];
	/* A running conversion ends as it began. */
	if (chip->pointer == CONFIG && !chip->is_running &&
	    (!(chip->registers[CONFIG] & SINGLE_SHOT) || chip->registers[CONFIG] & OS))
		start(chip, ktime_get());
}

static void give(struct chip *chip, const struct i2c_msg *msg)
{
	u16 word = chip->registers[chip->pointer];
	int i;

	if (chip->pointer == CONFIG)
		word = chip->is_running ? word & ~OS : word | OS;
	for (i = 0; i < msg->len; i++)
		msg->buf[i] = i == 0 ? word >> 8 : i == 1 ? word & 0xff : 0xff;
}

static struct chip *at(u16 address)
{
	int i;

	for (i = 0; i < CHIPS; i++)
		if (addresses[i] == address)
			return &chips[i];
	return NULL;
}

static int transfer(struct i2c_adapter *adapter, struct i2c_msg *msgs, int count)
{
	int i;

	mutex_lock(&bus);
	for (i = 0; i < count; i++) {
		struct chip *chip = at(msgs[i].addr);
		int error = chip ? (int)chip->fails_with : EREMOTEIO;

		if (chip && chip->hangs_ms) {
			u32 patience_ms = jiffies_to_msecs(adapter->timeout);
			bool gives_up = !deaf && chip->hangs_ms > patience_ms;

			msleep(gives_up ? patience_ms : chip->hangs_ms);
			error = gives_up ? ETIMEDOUT : error;
		}
		if (error) {
			mutex_unlock(&bus);
			return -error;
		}
		if (chip->brown_out) {
			chip->brown_out = 0;
			reset(chip);
		}
		chip->transfers++;
		catch_up(chip);
		if (msgs[i].flags & I2C_M_RD)
			give(chip, &msgs[i]);
		else
			take(chip, &msgs[i]);
	}
	mutex_unlock(&bus);
	return count;
}

static u32 functionality(struct i2c_adapter *adapter)
{
	return I2C_FUNC_I2C | I2C_FUNC_SMBUS_EMUL;
}

static const struct i2c_algorithm algorithm = {
	.master_xfer = transfer,
	.functionality = functionality,
};

static struct i2c_adapter adapter = {
	.owner = THIS_MODULE,
	.algo = &algorithm,
	.name = "virtual ADS1115 bus",
};

static void show(struct chip *chip, u8 address)
{
	char name[8];
	struct dentry *own;
	int i;

	snprintf(name, sizeof(name), "%02x", address);
	own = debugfs_create_dir(name, folder);
	for (i = 0; i < INPUTS; i++) {
		snprintf(name, sizeof(name), "mux%d_uv", i);
		debugfs_create_u32(name, 0600, own, &chip->input_uv[i]);
	}
	debugfs_create_u32("fails_with", 0600, own, &chip->fails_with);
	debugfs_create_u32("hangs_ms", 0600, own, &chip->hangs_ms);
	debugfs_create_u32("slow_percent", 0600, own, &chip->slow_percent);
	debugfs_create_u32("frozen", 0600, own, &chip->frozen);
	debugfs_create_u32("brown_out", 0600, own, &chip->brown_out);
	debugfs_create_u32("transfers", 0400, own, &chip->transfers);
	debugfs_create_u32("conversions", 0400, own, &chip->conversions);
}

static int __init begin(void)
{
	int i;

	folder = debugfs_create_dir("virtual_ads1115", NULL);
	for (i = 0; i < CHIPS; i++) {
		reset(&chips[i]);
		chips[i].slow_percent = 100;
		show(&chips[i], addresses[i]);
	}
	adapter.nr = number;
	return i2c_add_numbered_adapter(&adapter);
}

static void __exit end(void)
{
	i2c_del_adapter(&adapter);
	debugfs_remove_recursive(folder);
}

module_init(begin);
module_exit(end);
MODULE_LICENSE("Dual MIT/GPL");
MODULE_DESCRIPTION("Virtual I2C adapter with ADS1115 converters, for tests");
