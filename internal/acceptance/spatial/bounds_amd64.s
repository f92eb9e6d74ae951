#include "go_asm.h"
#include "textflag.h"

// Boxes by AVX2. Every function gives what its Go twin gives, but for the sign of zeros and the unused fourth lanes.

DATA spanSign<>+0(SB)/4, $0x80000000
GLOBL spanSign<>(SB), RODATA|NOPTR, $4
DATA spanInf<>+0(SB)/4, $0x7f800000
GLOBL spanInf<>(SB), RODATA|NOPTR, $4

// func spanOfAVX2(mid *[4]float32, keys *uint64, n int, s *[8]float32)
TEXT ·spanOfAVX2(SB), NOSPLIT, $0-32
	MOVQ mid+0(FP), SI
	MOVQ keys+8(FP), DI
	MOVQ n+16(FP), CX
	MOVQ s+24(FP), DX
	VBROADCASTSS spanInf<>(SB), X0
	VMOVAPS X0, X1
	VBROADCASTSS spanSign<>(SB), X2
spanNext:
	MOVL (DI), AX
	SHLQ $4, AX
	VMOVUPS (SI)(AX*1), X3
	VMINPS X0, X3, X0
	VXORPS X2, X3, X3
	VMINPS X1, X3, X1
	ADDQ $8, DI
	DECQ CX
	JNE spanNext
	VMOVUPS X0, (DX)
	VMOVUPS X1, 16(DX)
	VZEROUPPER
	RET

// func spanOfMiddlesAVX2(items *item, n int, s *[8]float32)
TEXT ·spanOfMiddlesAVX2(SB), NOSPLIT, $0-24
	MOVQ items+0(FP), SI
	MOVQ n+8(FP), CX
	MOVQ s+16(FP), DX
	VBROADCASTSS spanInf<>(SB), X0
	VMOVAPS X0, X1
	VBROADCASTSS spanSign<>(SB), X2
middleNext:
	VMOVUPS (SI), X3
	VSUBPS 16(SI), X3, X3
	VMINPS X0, X3, X0
	VXORPS X2, X3, X3
	VMINPS X1, X3, X1
	ADDQ $item__size, SI
	DECQ CX
	JNE middleNext
	VMOVUPS X0, (DX)
	VMOVUPS X1, 16(DX)
	VZEROUPPER
	RET

// func fillBinsAVX2(b *bins, m *binning, items *item, n int)
TEXT ·fillBinsAVX2(SB), NOSPLIT, $0-32
	MOVQ b+0(FP), DI
	MOVQ m+8(FP), DX
	MOVQ items+16(FP), SI
	MOVQ n+24(FP), CX
	VMOVUPS binning_lo(DX), X4
	VMOVUPS binning_scale(DX), X5
	VMOVUPS binning_last(DX), X6
	LEAQ bins_count(DI), R8
	VXORPS X7, X7, X7
binNext:
	VMOVUPS (SI), Y0
	VEXTRACTF128 $1, Y0, X1
	VSUBPS X1, X0, X2
	VSUBPS X4, X2, X2
	VBLENDPS $8, X7, X2, X2 // the lane that holds the leaf's number
	VMULPS X5, X2, X2
	VCVTTPS2DQ X2, X2
	VPMINSD X6, X2, X2
	VMOVQ X2, AX
	MOVL AX, BX
	SHRQ $32, AX
	VPEXTRD $2, X2, R9
	INCL (R8)(BX*4)
	INCL (4*const_maxBins)(R8)(AX*4)
	INCL (8*const_maxBins)(R8)(R9*4)
	SHLQ $5, BX
	SHLQ $5, AX
	SHLQ $5, R9
	VMINPS (DI)(BX*1), Y0, Y1
	VMOVUPS Y1, (DI)(BX*1)
	VMINPS (32*const_maxBins)(DI)(AX*1), Y0, Y1
	VMOVUPS Y1, (32*const_maxBins)(DI)(AX*1)
	VMINPS (64*const_maxBins)(DI)(R9*1), Y0, Y1
	VMOVUPS Y1, (64*const_maxBins)(DI)(R9*1)
	ADDQ $item__size, SI
	DECQ CX
	JNE binNext
	VZEROUPPER
	RET

// LEASTOF puts the least and minus the largest of the coordinate at off of all corners into the item's fields.
#define LEASTOF(off, k) \
	VMOVUPS (leaf_v+off)(SI), Y0; \
	VMOVUPS (leaf_v+off+96)(SI), Y1; \
	VMOVUPS (leaf_v+off+192)(SI), Y2; \
	VMINPS Y1, Y0, Y3; \
	VMINPS Y2, Y3, Y3; \
	VMAXPS Y1, Y0, Y4; \
	VMAXPS Y2, Y4, Y4; \
	VXORPS Y5, Y4, Y4; \
	VPERM2F128 $0x20, Y4, Y3, Y6; \
	VPERM2F128 $0x31, Y4, Y3, Y7; \
	VMINPS Y7, Y6, Y6; \
	VPERMILPS $0x4e, Y6, Y7; \
	VMINPS Y7, Y6, Y6; \
	VPERMILPS $0xb1, Y6, Y7; \
	VMINPS Y7, Y6, Y6; \
	VMOVSS X6, (item_lo+4*k)(DI); \
	VEXTRACTF128 $1, Y6, X7; \
	VMOVSS X7, (item_neg+4*k)(DI)

// func boundLeafAVX2(l *leaf, it *item)
TEXT ·boundLeafAVX2(SB), NOSPLIT, $0-16
	MOVQ l+0(FP), SI
	MOVQ it+8(FP), DI
	VBROADCASTSS spanSign<>(SB), Y5
	LEASTOF(0, 0)
	LEASTOF(32, 1)
	LEASTOF(64, 2)
	VZEROUPPER
	RET
