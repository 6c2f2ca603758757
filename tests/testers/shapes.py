"""Short files of the shapes that the shipped mappings describe."""

from __future__ import annotations

WIDE = """Date,2026-11-20T10:15:00
Operator,J. Doe
Tester:,FT-3
Channel,ref-90m
Requirement,tia-6a-channel
Result,PASS

Frequency (MHz),insertion_loss A 12 (dB),PS NEXT B 36 (dB),next A 36-12 (dB),acr_f B 45-78 (dB),delay 12 (ns)
1.0,2.1,60,74.2,63.5,498.2
100.0,21.25,41,44.6,-0.5,495.1
"""
LONG = """Date,Tester,Channel,Parameter,End,Pairs,Frequency (Hz),Value,Limit,Unit
2026-11-20T10:15:00,FT-3,ref-90m,NEXT,A,12-36,100000000,44.6,39.9,dB
2026-11-20T10:15:01,FT-3,ref-90m,NEXT,A,12-36,1000000,74.2,65.0,dB
2026-11-20T10:15:02,FT-3,ref-90m,Propagation delay,,12,1000000,0.4982,0.555,us
2026-11-20T10:15:03,FT-3,ref-90m,Delay skew,,78-12,1000000,21,44,ns
"""
COMMA = """Date;20.11.2026 10:15
Tester;FT-3
Parameter;End;Receiving pair;Disturbing pair;Frequency (MHz);Margin (dB);Limit (dB)
NEXT;A;1,2;3,6;1,0;9,2;65,0
ACR-F;B;7,8;3,6;31,25;-0,4;33,4
RL;B;7,8;;1,0;4,1;19,0
"""
WORST = """Date,2026-11-20T10:15:00
Parameter,End,Pairs,Worst margin,Frequency (MHz),Value,Limit
NEXT,A,12-36,3.2,233.5,38.2,35.0
Delay,,12,40.1,,498.2,538.3
"""
