/* Reads holding registers over Modbus TCP by libmodbus, one request after the
 * other: the peer of the benchmarks. cc -O2 reads.c -lmodbus
 * Arguments: port, registers of one read, reads of one scan.
 * For each number on standard input: so many scans, and the nanoseconds of each
 * in a line on standard output. */
#include <modbus/modbus.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

static long long now(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return t.tv_sec * 1000000000LL + t.tv_nsec;
}

int main(int argc, char **argv)
{
	if (argc != 4)
		return 2;
	int registers = atoi(argv[2]), reads = atoi(argv[3]), scans;
	uint16_t words[125];
	modbus_t *m = modbus_new_tcp("127.0.0.1", atoi(argv[1]));
	if (!m || modbus_connect(m) != 0)
		return 1;
	modbus_set_slave(m, 1);
	while (scanf("%d", &scans) == 1) {
		long long *took = malloc(scans * sizeof *took);
		if (!took)
			return 1;
		for (int i = 0; i < scans; i++) {
			long long begin = now();
			for (int k = 0; k < reads; k++)
				if (modbus_read_registers(m, 200 * k, registers, words) != registers)
					return 1;
			took[i] = now() - begin;
		}
		for (int i = 0; i < scans; i++)
			printf("%lld ", took[i]);
		printf("\n");
		fflush(stdout);
		free(took);
	}
	modbus_close(m);
	return 0;
}
