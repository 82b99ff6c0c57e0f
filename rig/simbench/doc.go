// Package simbench is a bench that exists as physics: a chamber with its water
// and gas, the unit in it, the room around it, valves, sensors and whatever is
// wrong with them. It implements rig.Devices exactly as hardware does, so that
// the sequencer, the limits, the record and the analysis run on it unchanged.
//
// Everything inside is in SI units, pressures absolute. The state is lumped:
//
//   - gas: n mol at one temperature, ideal gas, open-system energy balance
//     (Moran & Shapiro, Fundamentals of Engineering Thermodynamics, 4.12):
//     d(n cv T) = cp T_in dn_in − cp T dn_out − p dV − heat to water and wall;
//   - water: one temperature, density and compressibility by Kell 1975;
//   - chamber wall: one temperature, elastic and thermal growth in proportion;
//   - unit: one temperature, elastic squeeze, creep, the air inside with its
//     vapour and liquid, and leak paths that open at a pressure;
//   - room: temperature and barometer as smooth functions of time.
//
// The chamber pressure is the root of one quadratic, since the volume left for
// gas is linear in pressure. A step takes at most half a second, less while
// something moves; heat exchange of the gas is the exact exponential, so that a
// step is stable whatever its length. The same configuration, seed and calls
// give the same readings, bit for bit.
//
// Left out, with its size: vapour in the cushion (its pressure moves by some
// 130 Pa/K against 1,700 Pa/K of the gas at 5 bar), the change of the water's
// compressibility with pressure (0.3 % at 10 bar), the head of water in the
// chamber (constant), and heat of gas dissolving.
package simbench
