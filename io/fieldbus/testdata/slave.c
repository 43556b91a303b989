/* A Modbus RTU device by libmodbus, the peer of the tests: cc slave.c -lmodbus
 * Arguments: serial device, baud, unit. Holding register a and input register a
 * hold 1000 + a, coil and discrete input a whether a is odd. Says "ready" and
 * answers until it is killed. */
#include <modbus/modbus.h>
#include <stdio.h>
#include <stdlib.h>

int main(int argc, char **argv)
{
	if (argc != 4)
		return 2;
	modbus_t *m = modbus_new_rtu(argv[1], atoi(argv[2]), 'E', 8, 1);
	modbus_mapping_t *map = modbus_mapping_new(300, 300, 300, 300);
	if (!m || !map || modbus_set_slave(m, atoi(argv[3])) != 0 || modbus_connect(m) != 0)
		return 1;
	for (int a = 0; a < 300; a++) {
		map->tab_registers[a] = map->tab_input_registers[a] = 1000 + a;
		map->tab_bits[a] = map->tab_input_bits[a] = a % 2;
	}
	puts("ready");
	fflush(stdout);
	for (;;) {
		uint8_t query[MODBUS_RTU_MAX_ADU_LENGTH];
		int n = modbus_receive(m, query);
		if (n > 0)
			modbus_reply(m, query, n, map);
	}
}
