package rig

// Quarantine is what is to be done with a flooded unit that holds cells. It
// stands here and nowhere else: the record, the terminal, the page and the
// certificate show this text. A published case: a lithium-ion tube that had
// taken in sea water burst seven hours after the leak was noticed (MAIB safety
// digest, as told in IMCA SF 14/23); a flooded pack failed with force (IMCA
// SF 25/20).
const Quarantine = "QUARANTINE. Keep away. Do not open it, do not charge it, do not carry it indoors. " +
	"When the chamber is vented, bring the unit out of doors with gloves and eye protection, away from people and what burns, " +
	"its closure pointing away from everybody, and leave it there for 24 hours at least. " +
	"Cells that got wet may burst or burn hours later; wet cells make hydrogen. Warm, swollen or hissing: leave, call the fire brigade. " +
	"Then hand the cells to a collection of hazardous waste; they are never used again."
