// Eight boxes or triangles at once by AVX2. No fused multiply-add: every lane goes through the operations of the Go twin
// in the same order, so that results are the same to the last bit.
//
// In both walks: DI the state, SI the nodes, R8 the leaves, R9 the number of entries on the stack, R10 the stack,
// AX a reference and then the node or leaf itself. A stack entry is a reference in the lower half, the least distance in
// the upper one; distances are not negative, so that entries compare as integers.

// ENTRY makes the stack entry of the child in lane CX of node AX, whose distance lies in scratch memory at R11.
#define ENTRY(dst) \
	MOVL (R11)(CX*4), dst; \
	SHLQ $32, dst; \
	MOVL wide_child(AX)(CX*4), R12; \
	ORQ R12, dst

// OFTWO takes the nearer of two children and pushes the farther, without a branch that nobody could predict: the lanes are
// CX and the lowest bit of DX.
#define OFTWO \
	ENTRY(BX); \
	BSFL DX, CX; \
	ENTRY(R13); \
	MOVQ BX, AX; \
	CMPQ R13, BX; \
	CMOVQCS R13, AX; \
	CMOVQCS BX, R13; \
	MOVQ R13, (R10)(R9*8); \
	INCQ R9; \
	MOVL AX, AX

// PUSHCHILD pushes the child in lane CX.
#define PUSHCHILD \
	ENTRY(BX); \
	MOVQ BX, (R10)(R9*8); \
	INCQ R9
