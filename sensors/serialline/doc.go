// Package serialline reads a microcontroller that prints text lines over a
// serial port, USB or RS-232: a pressure transducer, thermometers, a barometer,
// wet probes, whatever it has.
//
// # What the microcontroller should print
//
// One line for each set of values, ended by LF, CR LF or CR, in UTF-8 or plain
// ASCII, at most 1024 bytes. 8 data bits, no parity, 1 stop bit. One to a
// hundred lines a second; ten are plenty. Any of these shapes:
//
//	p_bar=3.214 t_c=18.42                      key-value: apart by spaces, tabs, commas or semicolons
//	3.214;18.42                                csv: apart by semicolon, tab, comma or spaces
//	{"pot":{"bar":3.214},"water":{"c":18.42}}  json: one object a line
//	$YXXDR,P,3.214,B,POT,C,18.42,C,WATER*48    nmea-xdr: NMEA 0183, with its checksum
//	Druck: 3,214 bar                           pattern: any other, by a regular expression
//
// In bench.toml, from says where a field's number stands: its key, "p_bar"; its
// column, "1" for the first; its path, "pot.bar"; its transducer, "P:POT" (type
// and name); or its group. A pattern matches the whole line and names the
// numbers in it:
//
//	line = "pattern"
//	pattern = 'Druck: (?P<p>[-+0-9,]+) bar'
//	decimal_comma = true
//
// The unit in an XDR sentence (B bar, P pascal, C degree, P per cent of humidity)
// must be that of bench.toml, or the sentence is a fault. Other sentences, and
// transducers that no field asks for, are passed over.
//
// A number is written 3.214, -0.5 or 1.2e-3. With decimal_comma = true (for
// key-value, csv and pattern) it is written 3,214, and a comma separates nothing.
// Between a key, its equals sign and its value there is no space. A wet probe
// is 1 or 0, true or false, wet or dry. Where a value is missing, print nan (in
// JSON null): it becomes a fault of that quantity and leaves the others be.
//
// A line that begins with # is a comment and is passed over. A line that the
// device prints when it starts makes a restart known: one that holds the word
// boot, reset, restart, watchdog, brownout or power-on, or the text given as
// banner. A csv header does as well. Keys and columns that bench.toml does not
// ask for are passed over.
//
// Two things are optional and worth their bytes:
//
//   - a sequence number n, counting up by 1 from 0: lost lines and restarts are
//     then seen. It may wrap at 8, 16 or 32 bits. In csv, bench.toml says which
//     column it is (sequence = "1"); with another name likewise.
//   - a checksum *hh at the end of the line: the exclusive or of all bytes
//     before the star (without a leading $), in two hexadecimal digits, as NMEA
//     0183 has it. Without it a byte that is lost from the middle of a number,
//     or a line cut short by a restart, can leave a number that looks whole.
//
// Both together:
//
//	p_bar=3.21400 t_c=18.42 n=17 *68
//	3;3.214;18.42*38
//	{"pot":{"bar":3.214},"water":{"c":18.42},"n":3} *46
//
// The first lines of a good device: it starts and says so, counts, and has no water
// temperature once its thermometer is unplugged:
//
//	# pot sensor 1.4 boot
//	p_bar=0.00012 t_c=18.40 wet=dry n=0 *4F
//	p_bar=0.00015 t_c=18.40 wet=dry n=1 *49
//	p_bar=3.21400 t_c=nan wet=dry n=2 *08
//
// The same in C, for a line without its end:
//
//	uint8_t sum = 0;
//	for (const char *c = line; *c; c++) sum ^= (uint8_t)*c;
//	printf("%s*%02X\r\n", line, sum);
//
// Print from one buffer with one call, and never more than the port takes: a
// buffer that is full tears a line, which the checksum shows.
//
// Another logger on the same computer is read the same way, from a file that grows
// or a pipe (driver file-line): any of these shapes, or line protocol, whose fields
// are known as "pot.pressure_bar" or "pot,sensor=p1.pressure_bar".
//
// A device whose lines carried a checksum once is held to it: a later line
// without one is damaged. checksum = true in bench.toml demands it from the
// first line on.
//
// # Absolute, gauge and sealed-gauge
//
// Every pressure of a reading is absolute. bench.toml says what the device's
// number is measured from:
//
//   - absolute: taken as it stands;
//   - gauge (the transducer breathes the room's air): the room's pressure is
//     added. That is the barometer's last reading where the bench has one, and
//     room_pa of bench.toml only where it has none. Before the barometer's first
//     reading, and once it has been silent for ten minutes, a gauge pressure
//     cannot be made absolute and is a fault. Without a barometer the weather of
//     the day (10 to 30 hPa in a night) goes into the pressure unseen;
//   - sealed-gauge (the transducer holds air that was sealed in when it was
//     made): the standard atmosphere of 101325 Pa is added, or sealed_pa where
//     the field gives it.
//
// # What a reading can be
//
// A line of which anything cannot be read gives no value at all. A value
// outside the declared range (low, high, in the field's unit; give a gauge
// transducer some room below 0 for its zero error) or outside what its quantity
// can be is OutOfRange and has no value; nothing is clamped. Five expected
// intervals without a value make NoReading. A port that is lost is
// Disconnected, and is looked for twice a second under the same name until it
// is back; give the name below /dev/serial/by-id, which stays with the device.
// The line that was cut by opening the port is dropped. Arrival times come from
// the clock passed in, on the goroutine that reads the port.
package serialline
