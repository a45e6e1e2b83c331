package port

// receivers are USB identities (vendor:product) that belong to nothing but
// GNSS receivers: opening one cannot key a transmitter. A vendor alone is never
// enough: the first one here also makes cellular modems (1546:1102).
//
// Sources: [ids] the public list of USB ids, copy of 2016; [mem] from memory.
var receivers = map[string]bool{
	"1546:01a4": true, // one maker, generation 4 [ids]
	"1546:01a5": true, // generation 5 [ids]
	"1546:01a6": true, // generation 6 [ids]
	"1546:01a7": true, // generation 7 [ids]
	"1546:01a8": true, // generation 8 and M8 [ids]
	"1546:01a9": true, // generation 9 [mem]
	"0e8d:3329": true, // receiver chip with its own USB port [mem]
	"1163:0100": true, // receiver for laptops [mem]
	"1163:0200": true, // its successor [mem]
}

// bridges are makers of generic serial chips [ids, mem]: the same chip is in
// receivers and in radios' cables.
var bridges = map[string]bool{
	"0403": true, "10c4": true, "1a86": true, "4348": true, "067b": true,
	"9710": true, "04e2": true, "6547": true, "0557": true, "0711": true,
	"04d8": true, "2341": true, "2e8a": true, "16c0": true,
}

// bridgeDrivers are the kernel's drivers for such chips [mem], for those sold
// under other vendors' numbers.
var bridgeDrivers = map[string]bool{
	"ftdi_sio": true, "cp210x": true, "ch341": true, "ch341-uart": true,
	"pl2303": true, "ark3116": true, "mct_u232": true, "mos7720": true,
	"mos7840": true, "oti6858": true, "spcp8x5": true, "xr_serial": true,
	"f81232": true, "f81534": true, "mxuport": true, "belkin": true,
	"ti_usb_3410_5052": true, "keyspan": true, "usb_serial_simple": true,
	"cypress_m8": true, "upd78f0730": true, "io_edgeport": true, "io_ti": true,
}
