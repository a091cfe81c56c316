// Made by `python -m hardware.case` from hardware/board/placement.toml. Change it there.
board_w = 160.0;
board_h = 100.0;
board_thick = 1.6;
holes = [[5.0, 5.0], [155.0, 5.0], [5.0, 95.0], [155.0, 95.0]];
socket_y = 45.005;
socket_wide = 56.0;
socket_low = -3.0;
socket_high = 19.0;
usb_y = 20.89;
usb_mid = 13.44;
usb_wide = 14.0;
usb_high = 9.0;
buzzer = [8.8, 75.3];
button = [17.0, 82.0];
button_d = 12.2;
light = [24.0, 93.0];
light_d = 5.2;
