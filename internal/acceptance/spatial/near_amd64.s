#include "go_asm.h"
#include "textflag.h"
#include "walk_amd64.h"

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
