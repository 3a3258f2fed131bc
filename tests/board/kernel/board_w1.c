// SPDX-License-Identifier: MIT OR GPL-2.0
/* A 1-Wire bus master with DS18B20 probes behind it that exist only here. Everything above (w1 core, w1_therm) is the kernel's own.
 * The probes are played slot by slot (touch_bit, reset_bus), so search, match, CRC and conversion times are the real code's business.
 * Control: write lines into .../ctl of the platform device: add ID MILLIC | temp ID MILLIC | pull ID | plug ID | crc ID N |
 * por ID (power-on value until the next conversion) | dead ID 0|1 (answers, never converts) | parasite ID 0|1 | short 0|1 | open 0|1
 * N < 0: for ever. Reading ctl lists all. */
#include <linux/delay.h>
#include <linux/ktime.h>
#include <linux/mod_devicetable.h>
#include <linux/module.h>
#include <linux/of.h>
#include <linux/platform_device.h>
#include <linux/slab.h>
#include <linux/spinlock.h>
#include <linux/w1.h>

#define MAX_SLAVES 64
enum st { IDLE, ROM, SEARCH, MATCH, FUNC, TX, RX, BUSY };
struct slave {
	u64 rom; u8 pad[9]; u8 eeprom[3]; int milli; bool present, dead, parasite; int crc_bad;
	enum st st; int bit; u8 cmd; u8 tx[9]; int tx_bits; u8 rx[3]; bool converting; ktime_t until; u64 reads, converts;
};
struct bus { struct w1_bus_master m; struct slave s[MAX_SLAVES]; int n; bool shorted, open; int slot_us; spinlock_t lock; u64 resets; };

static void seal(struct slave *s) { s->pad[8] = w1_calc_crc8(s->pad, 8); }
static void power_on(struct slave *s)
{
	static const u8 on[8] = { 0x50, 0x05, 0x4b, 0x46, 0x7f, 0xff, 0x0c, 0x10 };
	memcpy(s->pad, on, 8); memcpy(&s->pad[2], s->eeprom, 3); s->converting = false; s->st = IDLE; seal(s);
}
static int conv_ms(struct slave *s) { return 94 << ((s->pad[4] >> 5) & 3); } /* 94, 188, 376, 752 */
static void settle(struct slave *s)
{
	int raw, drop;

	if (!s->converting || ktime_before(ktime_get(), s->until)) return;
	s->converting = false;
	if (s->dead) return;
	raw = s->milli >= 0 ? (s->milli * 16 + 500) / 1000 : -((-s->milli * 16 + 500) / 1000);
	drop = 3 - ((s->pad[4] >> 5) & 3);
	raw = (raw >> drop) << drop;
	s->pad[0] = raw & 0xff; s->pad[1] = (raw >> 8) & 0xff; s->pad[6] = 0x10 - (raw & 0xf); seal(s); s->converts++;
}
static void func(struct slave *s, u8 cmd)
{
	s->bit = 0;
	switch (cmd) {
	case 0x44: s->converting = true; s->until = ktime_add_ms(ktime_get(), conv_ms(s) * 9 / 10); s->st = BUSY; break;
	case 0xbe:
		settle(s); memcpy(s->tx, s->pad, 9); s->reads++;
		if (s->crc_bad) { s->tx[0] ^= 0x04; if (s->crc_bad > 0) s->crc_bad--; }
		s->tx_bits = 72; s->st = TX; break;
	case 0x4e: s->st = RX; break;
	case 0x48: memcpy(s->eeprom, &s->pad[2], 3); s->st = IDLE; break;
	case 0xb8: memcpy(&s->pad[2], s->eeprom, 3); seal(s); s->st = IDLE; break;
	case 0xb4: s->tx[0] = s->parasite ? 0 : 0xff; s->tx_bits = 8; s->st = TX; break;
	default: s->st = IDLE;
	}
}
static u8 drives(struct slave *s) /* the level this probe lets the line have in a read slot */
{
	int id = s->bit / 3;

	if (!s->present) return 1;
	switch (s->st) {
	case SEARCH: return s->bit % 3 == 0 ? (s->rom >> id) & 1 : s->bit % 3 == 1 ? !((s->rom >> id) & 1) : 1;
	case TX: return s->bit < s->tx_bits ? (s->tx[s->bit / 8] >> (s->bit % 8)) & 1 : 1;
	case BUSY: settle(s); return !s->converting;
	default: return 1;
	}
}
static void takes(struct slave *s, u8 b)
{
	if (!s->present) return;
	switch (s->st) {
	case ROM: case FUNC:
		s->cmd |= b << s->bit;
		if (++s->bit < 8) return;
		s->bit = 0;
		if (s->st == FUNC) { func(s, s->cmd); s->cmd = 0; return; }
		switch (s->cmd) {
		case 0xf0: s->st = SEARCH; break;
		case 0x55: s->st = MATCH; break;
		case 0xcc: s->st = FUNC; break;
		case 0x33: memcpy(s->tx, &s->rom, 8); s->tx_bits = 64; s->st = TX; break;
		default: s->st = IDLE;
		}
		s->cmd = 0; return;
	case SEARCH:
		if (s->bit % 3 == 2 && b != ((s->rom >> (s->bit / 3)) & 1)) { s->st = IDLE; return; }
		if (++s->bit == 192) { s->st = FUNC; s->bit = 0; }
		return;
	case MATCH:
		if (b != ((s->rom >> s->bit) & 1)) { s->st = IDLE; return; }
		if (++s->bit == 64) { s->st = FUNC; s->bit = 0; }
		return;
	case TX: s->bit++; return;
	case RX:
		if (s->bit % 8 == 0) s->rx[s->bit / 8] = 0;
		s->rx[s->bit / 8] |= b << (s->bit % 8);
		if (++s->bit == 24) { memcpy(&s->pad[2], s->rx, 3); s->pad[4] |= 0x1f; s->pad[4] &= 0x7f; seal(s); s->st = IDLE; }
		return;
	default: return;
	}
}
static u8 touch(void *d, u8 b)
{
	struct bus *bus = d; unsigned long f; u8 line = b; int i;

	if (bus->slot_us) udelay(bus->slot_us);
	spin_lock_irqsave(&bus->lock, f);
	if (b) for (i = 0; i < bus->n; i++) line &= drives(&bus->s[i]);
	if (bus->shorted) line = 0;
	if (bus->open) line = 1;
	else for (i = 0; i < bus->n; i++) takes(&bus->s[i], bus->shorted ? 0 : b);
	spin_unlock_irqrestore(&bus->lock, f);
	return line;
}
static u8 reset(void *d)
{
	struct bus *bus = d; unsigned long f; int i; u8 none = 1;

	usleep_range(960, 1200);
	spin_lock_irqsave(&bus->lock, f);
	bus->resets++;
	if (bus->shorted) none = 0; /* a line that is held low looks like a presence pulse to w1-gpio */
	else if (!bus->open) for (i = 0; i < bus->n; i++) if (bus->s[i].present) { settle(&bus->s[i]); bus->s[i].st = ROM; bus->s[i].bit = 0; bus->s[i].cmd = 0; none = 0; }
	spin_unlock_irqrestore(&bus->lock, f);
	return none;
}
static struct slave *find(struct bus *bus, u64 id) { int i; for (i = 0; i < bus->n; i++) if ((bus->s[i].rom & 0x00ffffffffffffffULL) == id) return &bus->s[i]; return NULL; }
static ssize_t order(struct bus *bus, const char *buf, size_t len)
{
	char verb[12]; unsigned int fam; unsigned long long num; int val = 0, got; u64 id; unsigned long f; struct slave *s; ssize_t r = len;

	if (sscanf(buf, "short %d", &val) == 1) { bus->shorted = val; return len; }
	if (sscanf(buf, "open %d", &val) == 1) { bus->open = val; return len; }
	if (sscanf(buf, "slot_us %d", &val) == 1) { bus->slot_us = val; return len; }
	got = sscanf(buf, "%11s %x-%llx %d", verb, &fam, &num, &val);
	if (got < 3) return -EINVAL;
	id = fam | (num << 8);
	spin_lock_irqsave(&bus->lock, f);
	s = find(bus, id);
	if (!strcmp(verb, "add") && !s && bus->n < MAX_SLAVES) {
		s = &bus->s[bus->n++]; memset(s, 0, sizeof(*s));
		s->rom = id | ((u64)w1_calc_crc8((u8 *)&id, 7) << 56); s->eeprom[0] = 0x4b; s->eeprom[1] = 0x46; s->eeprom[2] = 0x7f;
		s->milli = val; power_on(s); s->present = true;
	} else if (!s) r = -ENOENT;
	else if (!strcmp(verb, "temp")) s->milli = val;
	else if (!strcmp(verb, "pull")) s->present = false;
	else if (!strcmp(verb, "plug")) { power_on(s); s->present = true; }
	else if (!strcmp(verb, "crc")) s->crc_bad = val;
	else if (!strcmp(verb, "por")) power_on(s);
	else if (!strcmp(verb, "dead")) { s->dead = val; if (val) power_on(s); }
	else if (!strcmp(verb, "parasite")) s->parasite = val;
	else r = -EINVAL;
	spin_unlock_irqrestore(&bus->lock, f);
	return r;
}
static ssize_t ctl_store(struct device *dev, struct device_attribute *a, const char *buf, size_t len) { return order(dev_get_drvdata(dev), buf, len); }
static ssize_t ctl_show(struct device *dev, struct device_attribute *a, char *buf)
{
	struct bus *bus = dev_get_drvdata(dev); int i, c = 0;

	c += scnprintf(buf, PAGE_SIZE, "short %d open %d resets %llu\n", bus->shorted, bus->open, bus->resets);
	for (i = 0; i < bus->n; i++) {
		struct slave *s = &bus->s[i];
		c += scnprintf(buf + c, PAGE_SIZE - c, "%02x-%012llx milli=%d present=%d crc=%d dead=%d reads=%llu converts=%llu\n", (u8)s->rom,
			       (s->rom >> 8) & 0xffffffffffffULL, s->milli, s->present, s->crc_bad, s->dead, s->reads, s->converts);
	}
	return c;
}
static DEVICE_ATTR(ctl, 0644, ctl_show, ctl_store);
static int probe(struct platform_device *p)
{
	struct bus *bus = devm_kzalloc(&p->dev, sizeof(*bus), GFP_KERNEL); const char *line; int e, i;

	if (!bus) return -ENOMEM;
	spin_lock_init(&bus->lock);
	bus->m.data = bus; bus->m.touch_bit = touch; bus->m.reset_bus = reset;
	platform_set_drvdata(p, bus);
	for (i = 0; !of_property_read_string_index(p->dev.of_node, "board,init", i, &line); i++) order(bus, line, strlen(line));
	e = device_create_file(&p->dev, &dev_attr_ctl);
	return e ? e : w1_add_master_device(&bus->m);
}
static const struct of_device_id ids[] = { { .compatible = "board,w1" }, {} };
MODULE_DEVICE_TABLE(of, ids);
static struct platform_driver drv = { .driver = { .name = "board-w1", .of_match_table = ids, .suppress_bind_attrs = true }, .probe = probe };
static int __init begin(void) { return platform_driver_register(&drv); }
module_init(begin); /* no exit: the bus stays as long as the board has power */
MODULE_LICENSE("Dual MIT/GPL");
MODULE_DESCRIPTION("1-Wire master with simulated DS18B20 probes");
