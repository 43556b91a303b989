/* Reads holding registers over Modbus TCP by libmodbus, one request after the
 * other: the peer of the benchmarks. cc -O2 reads.c -lmodbus
 * Arguments: port, registers of one read, reads of one scan, scans.
 * Prints nanoseconds of a scan: median, 99 of 100, longest. */
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

static int order(const void *a, const void *b)
{
	long long x = *(const long long *)a, y = *(const long long *)b;
	return (x > y) - (x < y);
}

int main(int argc, char **argv)
{
	if (argc != 5)
		return 2;
	int registers = atoi(argv[2]), reads = atoi(argv[3]), scans = atoi(argv[4]);
	long long *took = malloc(scans * sizeof *took);
	uint16_t words[125];
	modbus_t *m = modbus_new_tcp("127.0.0.1", atoi(argv[1]));
	if (!m || !took || modbus_connect(m) != 0)
		return 1;
	modbus_set_slave(m, 1);
	for (int i = 0; i < scans; i++) {
		long long begin = now();
		for (int k = 0; k < reads; k++)
			if (modbus_read_registers(m, 200 * k, registers, words) != registers)
				return 1;
		took[i] = now() - begin;
	}
	qsort(took, scans, sizeof *took, order);
	printf("%lld %lld %lld\n", took[scans / 2], took[scans * 99 / 100], took[scans - 1]);
	modbus_close(m);
	return 0;
}
