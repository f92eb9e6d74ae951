#include "go_asm.h"
#include "textflag.h"
#include "walk_amd64.h"

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
