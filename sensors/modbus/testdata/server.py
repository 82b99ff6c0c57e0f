#!/usr/bin/python3
"""Two transmitters on one line, by Debian's python3-pymodbus: the independent
side of the test. Registers are packed by pymodbus' own builder. It says "ready"
when it listens. Usage: server.py PORT BAUD"""
import sys
from pymodbus.constants import Endian
from pymodbus.datastore import ModbusServerContext, ModbusSlaveContext, ModbusSparseDataBlock
from pymodbus.framer.rtu_framer import ModbusRtuFramer
from pymodbus.payload import BinaryPayloadBuilder
from pymodbus.server.async_io import ModbusSerialServer
import asyncio


def block(first, word=Endian.Big, **values):
    """Registers from first on, one value after the other."""
    b = BinaryPayloadBuilder(byteorder=Endian.Big, wordorder=word)
    for kind, value in values.items():
        getattr(b, "add_" + kind)(value)
    return dict(enumerate(b.to_registers(), first))


def slave(holding, inputs):
    return ModbusSlaveContext(zero_mode=True, hr=ModbusSparseDataBlock(holding), ir=ModbusSparseDataBlock(inputs))


first = slave(
    # unit, decimals, value: 321.4 kPa; then the same as words of 32 bits
    block(2, **{"16bit_uint": 1}) | block(3, **{"16bit_uint": 1}) | block(4, **{"16bit_int": 3214})
    | block(20, **{"32bit_int": -7654321}) | block(22, Endian.Little, **{"32bit_uint": 4023456789}),
    block(10, Endian.Little, **{"32bit_float": 18.4375}),
)
second = slave(block(100, **{"32bit_float": 3.25}), {0: 65535})


async def main(port, baud):
    server = ModbusSerialServer(ModbusServerContext(slaves={1: first, 2: second}, single=False),
                                ModbusRtuFramer, port=port, baudrate=int(baud), ignore_missing_slaves=True)
    await server.start()
    print("ready", flush=True)
    await server.serve_forever()


asyncio.run(main(*sys.argv[1:]))
