// A module by another maker's library: libmodbus serves what stands here in its
// registers, to every unit id, on a free port of the loopback that it prints.
#include <modbus/modbus.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>
#include <sys/socket.h>
#include <netinet/in.h>
int main(void) {
	modbus_t *c = modbus_new_tcp("127.0.0.1", 0);
	modbus_mapping_t *m = modbus_mapping_new(16, 16, 32, 32);
	/* °C by tenths; channel 5 open, channel 6 beyond any type K, channel 7 beyond a role's range */
	int16_t t[8] = {215, 1804, -43, 99, 32767, 13721, 4702, 230};
	for (int i = 0; i < 8; i++) m->tab_input_registers[i] = (uint16_t)t[i];
	m->tab_registers[3] = 0x0637; /* statusword of CiA 402: operation enabled, other bits as they come */
	m->tab_registers[4] = 0x0638; /* fault, with the bit of x111 that makes it none */
	m->tab_registers[5] = 15; m->tab_registers[6] = 0xFA24; /* -1500 rpm */
	m->tab_registers[8] = 0x0000; m->tab_registers[9] = 0xBA41; /* 23.25 is 41BA0000 by IEEE 754, bytes turned round */
	m->tab_registers[12] = 4711;
	int s = socket(AF_INET, SOCK_STREAM, 0);
	struct sockaddr_in a = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
	socklen_t n = sizeof a;
	if (bind(s, (void *)&a, n) || listen(s, 4) || getsockname(s, (void *)&a, &n)) return 1;
	printf("%d\n", ntohs(a.sin_port));
	fflush(stdout);
	for (;;) {
		uint8_t q[MODBUS_TCP_MAX_ADU_LENGTH];
		int k;
		if (modbus_tcp_accept(c, &s) < 0) return 1;
		while ((k = modbus_receive(c, q)) >= 0)
			if (k > 0) modbus_reply(c, q, k, m);
		modbus_close(c);
	}
}
