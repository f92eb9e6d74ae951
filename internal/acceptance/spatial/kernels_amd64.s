#include "go_asm.h"
#include "textflag.h"

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

// OUTSIDE gives for the coordinate at off of the triangles' corners, p's in the register: in Y8 how far p lies outside the
// triangles' bounds, in Y9 minus how far it lies from the farther bound.
#define OUTSIDE(off, p) \
	VMOVUPS (leaf_v+off)(AX), Y5; \
	VMOVUPS (leaf_v+off+96)(AX), Y6; \
	VMOVUPS (leaf_v+off+192)(AX), Y7; \
	VMINPS Y6, Y5, Y8; \
	VMINPS Y7, Y8, Y8; \
	VMAXPS Y6, Y5, Y9; \
	VMAXPS Y7, Y9, Y9; \
	VSUBPS p, Y8, Y8; \
	VSUBPS Y9, p, Y5; \
	VMINPS Y5, Y8, Y9; \
	VMAXPS Y5, Y8, Y8; \
	VMAXPS Y4, Y8, Y8

// DOT uses Y14.
#define DOT(ax, ay, az, bx, by, bz, dst) \
	VMULPS bx, ax, dst; \
	VMULPS by, ay, Y14; \
	VADDPS Y14, dst, dst; \
	VMULPS bz, az, Y14; \
	VADDPS Y14, dst, dst

// CLAMP brings t into [0, 1], not a number to 0. Y14 must be zero; Y15 is one afterwards.
#define CLAMP(t) \
	VMAXPS Y14, t, t; \
	VBROADCASTSS nearOne<>(SB), Y15; \
	VMINPS Y15, t, t

// FROMP loads the corner at off as seen from p into Y7, Y11, Y12.
#define FROMP(off) \
	VMOVUPS (leaf_v+off)(AX), Y7; \
	VSUBPS Y0, Y7, Y7; \
	VMOVUPS (leaf_v+off+32)(AX), Y11; \
	VSUBPS Y1, Y11, Y11; \
	VMOVUPS (leaf_v+off+64)(AX), Y12; \
	VSUBPS Y2, Y12, Y12

DATA nearOne<>+0(SB)/4, $0x3f800000 // 1
GLOBL nearOne<>(SB), RODATA|NOPTR, $4
DATA nearSlack<>+0(SB)/4, $0x35800000 // 2^-20
GLOBL nearSlack<>(SB), RODATA|NOPTR, $4
DATA nearUnderflow<>+0(SB)/4, $0x03800000 // 2^-120
GLOBL nearUnderflow<>(SB), RODATA|NOPTR, $4
DATA nearLeastSq<>+0(SB)/4, $0x17800000 // 2^-80
GLOBL nearLeastSq<>(SB), RODATA|NOPTR, $4

// func walkNearAVX2(w *nearWalk) bool
TEXT ·walkNearAVX2(SB), NOSPLIT, $0-9
	MOVQ w+0(FP), DI
	MOVQ nearWalk_nodes(DI), SI
	MOVQ nearWalk_leaves(DI), R8
	MOVQ nearWalk_waiting(DI), R9
	LEAQ nearWalk_stack(DI), R10
	LEAQ nearWalk_boxSq(DI), R11
	VBROADCASTSS (nearWalk_p+0)(DI), Y0
	VBROADCASTSS (nearWalk_p+4)(DI), Y1
	VBROADCASTSS (nearWalk_p+8)(DI), Y2
	VBROADCASTSS nearWalk_bound(DI), Y3
	VXORPS Y4, Y4, Y4

nearPop:
	DECQ R9
	JLT nearEnd
	MOVQ (R10)(R9*8), AX
	VMOVSS 4(R10)(R9*8), X5
	VUCOMISS X3, X5 // from > bound
	JHI nearPop
	MOVL AX, AX

nearVisit:
	TESTL AX, AX
	JLT nearLeaf
	IMULQ $wide__size, AX
	ADDQ SI, AX

	// x = max(max(lo - p, p - hi), 0), and so on; the sum of squares.
	VMOVUPS (wide_box+0)(AX), Y5
	VSUBPS Y0, Y5, Y5
	VSUBPS (wide_box+32)(AX), Y0, Y6
	VMAXPS Y6, Y5, Y5
	VMAXPS Y4, Y5, Y5
	VMULPS Y5, Y5, Y5
	VMOVUPS (wide_box+64)(AX), Y7
	VSUBPS Y1, Y7, Y7
	VSUBPS (wide_box+96)(AX), Y1, Y8
	VMAXPS Y8, Y7, Y7
	VMAXPS Y4, Y7, Y7
	VMULPS Y7, Y7, Y7
	VADDPS Y7, Y5, Y5
	VMOVUPS (wide_box+128)(AX), Y7
	VSUBPS Y2, Y7, Y7
	VSUBPS (wide_box+160)(AX), Y2, Y8
	VMAXPS Y8, Y7, Y7
	VMAXPS Y4, Y7, Y7
	VMULPS Y7, Y7, Y7
	VADDPS Y7, Y5, Y5
	VCMPPS $2, Y3, Y5, Y6 // <=
	VMOVMSKPS Y6, DX
	TESTL DX, DX
	JEQ nearPop
	BSFL DX, CX
	BLSRL DX, DX
	JNE nearSeveral
	MOVL wide_child(AX)(CX*4), AX
	JMP nearVisit

nearSeveral:
	VMOVUPS Y5, (R11)
	BLSRL DX, BX
	JNE nearMany
	OFTWO
	JMP nearVisit

nearMany:
	MOVQ R9, R13 // where this node's entries begin
nearPush:
	PUSHCHILD
	// Sink the entry to its place: the nearest ends on top.
	LEAQ -1(R9), R15
nearSink:
	CMPQ R15, R13
	JLE nearSunk
	MOVQ -8(R10)(R15*8), R12
	CMPQ R12, BX
	JCC nearSunk
	MOVQ R12, (R10)(R15*8)
	MOVQ BX, -8(R10)(R15*8)
	DECQ R15
	JMP nearSink
nearSunk:
	TESTL DX, DX
	JEQ nearTake
	BSFL DX, CX
	BLSRL DX, DX
	JMP nearPush
nearTake:
	DECQ R9
	MOVL (R10)(R9*8), AX
	JMP nearVisit

nearLeaf:
	CMPL AX, nearWalk_seen(DI)
	JEQ nearPop
	ANDL $0x7fffffff, AX
	MOVL AX, R14
	IMULQ $leaf__size, AX
	ADDQ R8, AX
	OUTSIDE(0, Y0)
	VMULPS Y8, Y8, Y10
	VMOVAPS Y9, Y11
	OUTSIDE(32, Y1)
	VMULPS Y8, Y8, Y8
	VADDPS Y8, Y10, Y10
	VADDPS Y9, Y11, Y11
	OUTSIDE(64, Y2)
	VMULPS Y8, Y8, Y8
	VADDPS Y8, Y10, Y10
	VADDPS Y9, Y11, Y11
	VCMPPS $2, Y3, Y10, Y5
	VMOVMSKPS Y5, DX
	TESTL DX, DX
	JEQ nearPop
	VMOVUPS Y10, (R11)
	VMOVUPS Y11, nearWalk_spread(DI)

	// The corner a seen from p in Y5..Y7, the edges b-a in Y8..Y10 and c-a in Y11..Y13.
	VMOVUPS (leaf_v+0)(AX), Y14
	VSUBPS Y0, Y14, Y5
	VMOVUPS (leaf_v+96)(AX), Y8
	VSUBPS Y14, Y8, Y8
	VMOVUPS (leaf_v+192)(AX), Y11
	VSUBPS Y14, Y11, Y11
	VMOVUPS (leaf_v+32)(AX), Y14
	VSUBPS Y1, Y14, Y6
	VMOVUPS (leaf_v+128)(AX), Y9
	VSUBPS Y14, Y9, Y9
	VMOVUPS (leaf_v+224)(AX), Y12
	VSUBPS Y14, Y12, Y12
	VMOVUPS (leaf_v+64)(AX), Y14
	VSUBPS Y2, Y14, Y7
	VMOVUPS (leaf_v+160)(AX), Y10
	VSUBPS Y14, Y10, Y10
	VMOVUPS (leaf_v+256)(AX), Y13
	VSUBPS Y14, Y13, Y13
	DOT(Y5, Y6, Y7, Y8, Y9, Y10, Y3)     // d0 = a.e0
	DOT(Y5, Y6, Y7, Y11, Y12, Y13, Y4)   // d1 = a.e1
	DOT(Y8, Y9, Y10, Y8, Y9, Y10, Y0)    // d00
	DOT(Y8, Y9, Y10, Y11, Y12, Y13, Y1)  // d01
	DOT(Y11, Y12, Y13, Y11, Y12, Y13, Y2) // d11

	// Weights of b in Y5 and of c in Y6 with the least value of the distance's quadratic form in Y7, edge by edge.
	VXORPS Y14, Y14, Y14
	VSUBPS Y3, Y14, Y5
	VDIVPS Y0, Y5, Y5
	CLAMP(Y5)
	VMULPS Y0, Y5, Y7
	VADDPS Y3, Y7, Y7
	VADDPS Y3, Y7, Y7
	VMULPS Y5, Y7, Y7
	VXORPS Y6, Y6, Y6
	// Edge ac; its value goes through scratch memory.
	VMOVUPS Y8, nearWalk_spare(DI)
	VMOVUPS Y9, (nearWalk_spare+32)(DI)
	VMOVUPS Y10, (nearWalk_spare+64)(DI)
	VXORPS Y14, Y14, Y14
	VSUBPS Y4, Y14, Y8
	VDIVPS Y2, Y8, Y8
	CLAMP(Y8)
	VMULPS Y2, Y8, Y9
	VADDPS Y4, Y9, Y9
	VADDPS Y4, Y9, Y9
	VMULPS Y8, Y9, Y9
	VCMPPS $1, Y7, Y9, Y10
	VMINPS Y7, Y9, Y7
	VXORPS Y14, Y14, Y14
	VBLENDVPS Y10, Y14, Y5, Y5
	VBLENDVPS Y10, Y8, Y6, Y6
	// Edge bc: d22 = (d11-d01)+(d00-d01), g = (d1-d0)+(d01-d00).
	VSUBPS Y1, Y2, Y8
	VSUBPS Y1, Y0, Y9
	VADDPS Y9, Y8, Y8
	VSUBPS Y3, Y4, Y9
	VSUBPS Y0, Y1, Y10
	VADDPS Y10, Y9, Y9
	VXORPS Y14, Y14, Y14
	VSUBPS Y9, Y14, Y10
	VDIVPS Y8, Y10, Y10
	CLAMP(Y10)
	VMULPS Y8, Y10, Y8
	VADDPS Y9, Y8, Y8
	VADDPS Y9, Y8, Y8
	VMULPS Y10, Y8, Y8
	VADDPS Y3, Y8, Y8
	VADDPS Y3, Y8, Y8
	VADDPS Y0, Y8, Y8
	VCMPPS $1, Y7, Y8, Y9
	VSUBPS Y10, Y15, Y8 // 1 - t
	VBLENDVPS Y9, Y8, Y5, Y5
	VBLENDVPS Y9, Y10, Y6, Y6
	// The face: s = d01*d1 - d11*d0, t = d01*d0 - d00*d1 over det = d00*d11 - d01*d01.
	VMULPS Y2, Y0, Y7
	VMULPS Y1, Y1, Y8
	VSUBPS Y8, Y7, Y7
	VMULPS Y4, Y1, Y8
	VMULPS Y3, Y2, Y9
	VSUBPS Y9, Y8, Y8
	VMULPS Y3, Y1, Y9
	VMULPS Y4, Y0, Y10
	VSUBPS Y10, Y9, Y9
	VXORPS Y14, Y14, Y14
	VCMPPS $1, Y8, Y14, Y0 // 0 < s
	VCMPPS $1, Y9, Y14, Y1 // 0 < t
	VANDPS Y1, Y0, Y0
	VADDPS Y9, Y8, Y1
	VCMPPS $1, Y7, Y1, Y2 // s + t < det
	VANDPS Y2, Y0, Y0
	VDIVPS Y7, Y8, Y8
	VDIVPS Y7, Y9, Y9
	VBLENDVPS Y0, Y8, Y5, Y5
	VBLENDVPS Y0, Y9, Y6, Y6

	// u, from p to that point, in Y8..Y10.
	VBROADCASTSS (nearWalk_p+0)(DI), Y0
	VBROADCASTSS (nearWalk_p+4)(DI), Y1
	VBROADCASTSS (nearWalk_p+8)(DI), Y2
	VMOVUPS (leaf_v+0)(AX), Y7
	VSUBPS Y0, Y7, Y7
	VMULPS nearWalk_spare(DI), Y5, Y8
	VADDPS Y8, Y7, Y8
	VMULPS Y11, Y6, Y11
	VADDPS Y11, Y8, Y8
	VMOVUPS (leaf_v+32)(AX), Y11
	VSUBPS Y1, Y11, Y11
	VMULPS (nearWalk_spare+32)(DI), Y5, Y9
	VADDPS Y9, Y11, Y9
	VMULPS Y12, Y6, Y12
	VADDPS Y12, Y9, Y9
	VMOVUPS (leaf_v+64)(AX), Y12
	VSUBPS Y2, Y12, Y12
	VMULPS (nearWalk_spare+64)(DI), Y5, Y10
	VADDPS Y10, Y12, Y10
	VMULPS Y13, Y6, Y13
	VADDPS Y13, Y10, Y10
	// How far the three corners lie along u, the least of them in Y3.
	DOT(Y7, Y11, Y12, Y8, Y9, Y10, Y3)
	FROMP(96)
	DOT(Y7, Y11, Y12, Y8, Y9, Y10, Y4)
	VMINPS Y4, Y3, Y3
	FROMP(192)
	DOT(Y7, Y11, Y12, Y8, Y9, Y10, Y4)
	VMINPS Y4, Y3, Y3
	DOT(Y8, Y9, Y10, Y8, Y9, Y10, Y5)
	VSQRTPS Y5, Y6
	VDIVPS Y6, Y3, Y3
	VBROADCASTSS nearSlack<>(SB), Y4
	VMULPS nearWalk_spread(DI), Y4, Y4
	VADDPS Y4, Y3, Y3
	VSUBPS Y4, Y6, Y6 // the distance from above
	VMULPS Y6, Y6, Y6
	VXORPS Y4, Y4, Y4
	VMAXPS Y4, Y3, Y3 // not a number becomes zero
	VMULPS Y3, Y3, Y3
	VBROADCASTSS nearLeastSq<>(SB), Y4
	VCMPPS $1, Y5, Y4, Y4 // too short a u tells nothing
	VANDPS Y4, Y3, Y3
	VMAXPS (R11), Y3, Y10
	VXORPS Y4, Y4, Y4
	VBROADCASTSS nearWalk_bound(DI), Y3
	VCMPPS $2, Y3, Y10, Y5
	VMOVMSKPS Y5, DX
	TESTL DX, DX
	JEQ nearPop

	MOVQ nearWalk_found(DI), BX
	IMUL3Q $candidate__size, BX, CX
	LEAQ nearWalk_list(DI), R12
	ADDQ CX, R12
	VMOVUPS Y10, candidate_sq(R12)
	MOVL DX, candidate_mask(R12)
	MOVL R14, candidate_leaf(R12)
	INCQ BX
	MOVQ BX, nearWalk_found(DI)

	// The least distance from above is a new bound.
	VEXTRACTF128 $1, Y6, X5
	VMINPS X5, X6, X6
	VPERMILPS $0x4e, X6, X5
	VMINPS X5, X6, X6
	VPERMILPS $0xb1, X6, X5
	VMINPS X5, X6, X6
	VADDSS nearUnderflow<>(SB), X6, X6
	VMINSS X6, X3, X3
	VMOVSS X3, nearWalk_bound(DI)
	VBROADCASTSS X3, Y3
	CMPQ BX, $const_listSize
	JLT nearPop
	MOVQ R9, nearWalk_waiting(DI)
	VZEROUPPER
	MOVB $1, ret+8(FP)
	RET

nearEnd:
	MOVQ $0, nearWalk_waiting(DI)
	VZEROUPPER
	MOVB $0, ret+8(FP)
	RET

// RAYCONSTANTS loads the ray for the box test.
#define RAYCONSTANTS \
	VBROADCASTSS (rayWalk_near+0)(DI), Y0; \
	VBROADCASTSS (rayWalk_near+4)(DI), Y1; \
	VBROADCASTSS (rayWalk_near+8)(DI), Y2; \
	VBROADCASTSS (rayWalk_far+0)(DI), Y3; \
	VBROADCASTSS (rayWalk_far+4)(DI), Y4; \
	VBROADCASTSS (rayWalk_far+8)(DI), Y5; \
	VBROADCASTSS (rayWalk_perUnit+0)(DI), Y6; \
	VBROADCASTSS (rayWalk_perUnit+4)(DI), Y7; \
	VBROADCASTSS (rayWalk_perUnit+8)(DI), Y8; \
	VBROADCASTSS rayWalk_max(DI), Y9

// SHEARED computes dst = (corner's coordinate at off(AX)(reg) - org) - shear*z, with org in Y15, shear in Y14.
#define SHEARED(off, reg, z, dst) \
	VMOVUPS off(AX)(reg*1), dst; \
	VSUBPS Y15, dst, dst; \
	VMULPS Y14, z, Y13; \
	VSUBPS Y13, dst, dst

// EDGE computes dst = a*b - c*d.
#define EDGE(a, b, c, d, dst) \
	VMULPS b, a, dst; \
	VMULPS d, c, Y13; \
	VSUBPS Y13, dst, dst

// SLAB narrows Y7 and Y8 to the part of the ray between the bounds, along one axis, of each of the leaf's triangles.
#define SLAB(off, k) \
	VMOVUPS (leaf_v+off)(AX), Y3; \
	VMOVUPS (leaf_v+off+96)(AX), Y4; \
	VMOVUPS (leaf_v+off+192)(AX), Y5; \
	VMINPS Y4, Y3, Y10; \
	VMINPS Y5, Y10, Y10; \
	VMAXPS Y4, Y3, Y3; \
	VMAXPS Y5, Y3, Y3; \
	VBROADCASTSS (rayWalk_near+k)(DI), Y4; \
	VBROADCASTSS (rayWalk_far+k)(DI), Y5; \
	VMAXPS Y5, Y4, Y13; \
	VMINPS Y5, Y4, Y14; \
	VBROADCASTSS (rayWalk_perUnit+k)(DI), Y4; \
	VSUBPS Y13, Y10, Y10; \
	VMULPS Y4, Y10, Y10; \
	VSUBPS Y14, Y3, Y3; \
	VMULPS Y4, Y3, Y3; \
	VMINPS Y3, Y10, Y4; \
	VMAXPS Y3, Y10, Y3; \
	VMAXPS Y4, Y7, Y7; \
	VMINPS Y3, Y8, Y8

// func walkRayAVX2(w *rayWalk) bool
TEXT ·walkRayAVX2(SB), NOSPLIT, $0-9
	MOVQ w+0(FP), DI
	MOVQ rayWalk_nodes(DI), SI
	MOVQ rayWalk_leaves(DI), R8
	MOVQ rayWalk_waiting(DI), R9
	LEAQ rayWalk_stack(DI), R10
	LEAQ rayWalk_lanesT(DI), R11
	RAYCONSTANTS

rayPop:
	DECQ R9
	JLT rayEnd
	MOVQ (R10)(R9*8), AX
	VMOVSS 4(R10)(R9*8), X10
	VUCOMISS X9, X10 // from > max
	JHI rayPop
	MOVL AX, AX

rayVisit:
	TESTL AX, AX
	JLT rayLeaf
	IMULQ $wide__size, AX
	ADDQ SI, AX

	MOVQ (rayWalk_side+0)(DI), BX
	MOVQ (rayWalk_side+8)(DI), CX
	MOVQ (rayWalk_side+16)(DI), DX
	VMOVUPS (AX)(BX*1), Y10
	VSUBPS Y0, Y10, Y10
	VMULPS Y6, Y10, Y10
	VMOVUPS (AX)(CX*1), Y11
	VSUBPS Y1, Y11, Y11
	VMULPS Y7, Y11, Y11
	VMAXPS Y11, Y10, Y10
	VMOVUPS (AX)(DX*1), Y11
	VSUBPS Y2, Y11, Y11
	VMULPS Y8, Y11, Y11
	VMAXPS Y11, Y10, Y10
	VXORPS Y11, Y11, Y11
	VMAXPS Y11, Y10, Y10
	XORQ $32, BX
	XORQ $32, CX
	XORQ $32, DX
	VMOVUPS (AX)(BX*1), Y11
	VSUBPS Y3, Y11, Y11
	VMULPS Y6, Y11, Y11
	VMOVUPS (AX)(CX*1), Y12
	VSUBPS Y4, Y12, Y12
	VMULPS Y7, Y12, Y12
	VMINPS Y12, Y11, Y11
	VMOVUPS (AX)(DX*1), Y12
	VSUBPS Y5, Y12, Y12
	VMULPS Y8, Y12, Y12
	VMINPS Y12, Y11, Y11
	VMINPS Y9, Y11, Y11
	VCMPPS $2, Y11, Y10, Y12 // from <= to
	VMOVMSKPS Y12, DX
	TESTL DX, DX
	JEQ rayPop
	BSFL DX, CX
	BLSRL DX, DX
	JNE raySeveral
	MOVL wide_child(AX)(CX*4), AX
	JMP rayVisit

raySeveral:
	VMOVUPS Y10, (R11)
	BLSRL DX, BX
	JNE rayMany
	OFTWO
	JMP rayVisit

rayMany:
	MOVQ R9, R13
rayPush:
	PUSHCHILD
	LEAQ -1(R9), R15
raySink:
	CMPQ R15, R13
	JLE raySunk
	MOVQ -8(R10)(R15*8), R12
	CMPQ R12, BX
	JCC raySunk
	MOVQ R12, (R10)(R15*8)
	MOVQ BX, -8(R10)(R15*8)
	DECQ R15
	JMP raySink
raySunk:
	TESTL DX, DX
	JEQ rayTake
	BSFL DX, CX
	BLSRL DX, DX
	JMP rayPush
rayTake:
	DECQ R9
	MOVL (R10)(R9*8), AX
	JMP rayVisit

rayLeaf:
	ANDL $0x7fffffff, AX
	MOVL AX, R14
	IMULQ $leaf__size, AX
	ADDQ R8, AX
	MOVQ (rayWalk_axis+0)(DI), BX
	MOVQ (rayWalk_axis+8)(DI), CX
	MOVQ (rayWalk_axis+16)(DI), DX
	VBROADCASTSS (rayWalk_org+8)(DI), Y15
	VMOVUPS (AX)(DX*1), Y6
	VSUBPS Y15, Y6, Y6 // az
	VMOVUPS 96(AX)(DX*1), Y7
	VSUBPS Y15, Y7, Y7 // bz
	VMOVUPS 192(AX)(DX*1), Y8
	VSUBPS Y15, Y8, Y8 // cz
	VBROADCASTSS (rayWalk_org+0)(DI), Y15
	VBROADCASTSS (rayWalk_shear+0)(DI), Y14
	SHEARED(0, BX, Y6, Y0)   // ax
	SHEARED(96, BX, Y7, Y1)  // bx
	SHEARED(192, BX, Y8, Y2) // cx
	VBROADCASTSS (rayWalk_org+4)(DI), Y15
	VBROADCASTSS (rayWalk_shear+4)(DI), Y14
	SHEARED(0, CX, Y6, Y3)   // ay
	SHEARED(96, CX, Y7, Y4)  // by
	SHEARED(192, CX, Y8, Y5) // cy
	EDGE(Y2, Y4, Y5, Y1, Y10) // eu = cx*by - cy*bx
	EDGE(Y0, Y5, Y3, Y2, Y11) // ev = ax*cy - ay*cx
	EDGE(Y1, Y3, Y4, Y0, Y12) // ew = bx*ay - by*ax
	VMINPS Y11, Y10, Y13
	VMINPS Y12, Y13, Y13 // least of the three
	VMAXPS Y11, Y10, Y14
	VMAXPS Y12, Y14, Y14 // largest
	VXORPS Y15, Y15, Y15
	VCMPPS $1, Y15, Y13, Y0 // least < 0
	VCMPPS $1, Y14, Y15, Y1 // 0 < largest
	VANDPS Y1, Y0, Y0       // outside
	VMOVMSKPS Y0, DX
	CMPL DX, $0xff
	JEQ rayLeft
	VCMPPS $0, Y15, Y13, Y1 // least == 0
	VCMPPS $0, Y15, Y14, Y2 // largest == 0
	VORPS Y2, Y1, Y1
	VMOVMSKPS Y1, DX
	TESTL DX, DX
	JNE rayCare

	VADDPS Y11, Y10, Y1
	VADDPS Y12, Y1, Y1 // det
	VBROADCASTSS (rayWalk_shear+8)(DI), Y14
	VMULPS Y14, Y6, Y6
	VMULPS Y6, Y10, Y6
	VMULPS Y14, Y7, Y7
	VMULPS Y7, Y11, Y7
	VMULPS Y14, Y8, Y8
	VMULPS Y8, Y12, Y8
	VADDPS Y7, Y6, Y6
	VADDPS Y8, Y6, Y6
	VDIVPS Y1, Y6, Y6 // t
	VCMPPS $13, Y15, Y6, Y2 // t >= 0
	VCMPPS $2, Y9, Y6, Y3   // t <= max
	VANDPS Y3, Y2, Y2
	VCMPPS $4, Y15, Y1, Y3 // det != 0
	VANDPS Y3, Y2, Y2
	VANDNPS Y2, Y0, Y2
	VMOVMSKPS Y2, DX
	TESTL DX, DX
	JEQ rayLeft

	// The part of the ray within each triangle's own box: from in Y7, to in Y8.
	VXORPS Y7, Y7, Y7
	VMOVAPS Y9, Y8
	SLAB(0, 0)
	SLAB(32, 4)
	SLAB(64, 8)
	VMAXPS Y7, Y6, Y6
	VCMPPS $2, Y8, Y7, Y3 // from <= to
	VANDPS Y3, Y2, Y2
	VCMPPS $2, Y9, Y6, Y3 // t <= max
	VANDPS Y3, Y2, Y2
	VMOVMSKPS Y2, DX
	TESTL DX, DX
	JEQ rayLeft
	VMOVUPS Y6, 0(R11)
	VMOVUPS Y11, 32(R11)
	VMOVUPS Y12, 64(R11)
	VMOVUPS Y1, 96(R11)
	CMPL rayWalk_mode(DI), $const_allHits
	JEQ rayAll
rayBest:
	BSFL DX, CX
	VMOVSS (R11)(CX*4), X10
	MOVL leaf_id(AX)(CX*4), BX
	VUCOMISS X9, X10 // t against the best
	JHI rayNext
	JNE rayBetter
	CMPL BX, rayWalk_id(DI)
	JGE rayNext
rayBetter:
	VMOVAPS X10, X9
	VMOVSS X10, rayWalk_max(DI)
	MOVL BX, rayWalk_id(DI)
	MOVL 32(R11)(CX*4), BX
	MOVL BX, rayWalk_ev(DI)
	MOVL 64(R11)(CX*4), BX
	MOVL BX, rayWalk_ew(DI)
	MOVL 96(R11)(CX*4), BX
	MOVL BX, rayWalk_det(DI)
rayNext:
	BLSRL DX, DX
	JNE rayBest
	CMPL rayWalk_mode(DI), $const_anyHit
	JEQ rayEnd
rayLeft:
	RAYCONSTANTS
	JMP rayPop

rayCare:
	XORL DX, DX
rayAll:
	MOVL DX, rayWalk_mask(DI)
	MOVL R14, rayWalk_leaf(DI)
	MOVQ R9, rayWalk_waiting(DI)
	VZEROUPPER
	MOVB $1, ret+8(FP)
	RET

rayEnd:
	MOVQ $0, rayWalk_waiting(DI)
	VZEROUPPER
	MOVB $0, ret+8(FP)
	RET
