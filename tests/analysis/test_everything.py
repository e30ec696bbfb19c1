"""What the command line does, Python does: each command has its names, or stands here with why it has none."""

import pytest
from typer.main import get_command

import heavyspot
from heavyspot.cli.main import app

NAMES = {
    "verify": "verify_sheet check_ledger", "prove": "prove_sheet", "head": "new_head", "reindex": "reindex",
    "backup": "back_up", "restore": "restore", "bring": "bring_in", "reissue": "reissue", "spin": "spin",
    "curve": "spin_table table_from_file table_from_pasted", "ground": "ground ground_as_advised unground",
    "looked": "looked", "overrule": "overrule", "sheet": "issue_sheet", "label": "label_of label_pdf",
    "read": "read",
    "convert": "open_recording write_recording", "show": "cartridge_story whole_story open", "simulate": "simulate",
    "devices": "input_devices", "model add": "add_model", "model list": "model_names",
    "model card": "response_card", "model take-card": "take_card",
    "rig list": "all_rigs", "rotor list": "newest_rotors", "machine list": "machine_names",
    "flow list": "flow_benches", "recordings list": "waiting_recordings",
    "model cards": "cards", "model drop-card": "drop_card",
    "piece new": "add_piece",
    "piece list": "all_pieces search_pieces", "rig add": "add_rig", "rig health": "rig_words",
    "rig shaker": "check_shaker", "rig inputs": "check_inputs", "rig compare": "compare_rigs",
    "rig study": "run_study", "rig angles": "check_two_cuts keep_angles", "rotor model": "add_rotor_model",
    "rotor new": "add_rotor", "rotor measure": "measure_signals measure_typed",
    "rotor corrected": "corrected corrected_as_advised", "rotor show": "rotor_story",
    "rotor sheet": "issue_rotor_sheet", "rotor tolerance": "tolerance", "rotor split": "split_over",
    "rotor index": "index", "rotor transfer": "transfer", "rotor parts": "parts_of couple_pair",
    "rotor budget": "runout clearance half_key budget Contribution", "rotor match": "match",
    "rotor compare": "compare_assembly", "machine calibrate": "calibrate_machine calibrate",
    "machine arbor": "store_arbor", "machine residual-test": "prove_residual",
    "machine reduction-test": "prove_reduction", "machine compensator-test": "prove_compensator",
    "machine proofs": "proofs_of", "flow bench": "set_bench", "flow test": "keep_flow_test flow_tests_of",
    "flow sheet": "issue_flow_sheet", "reread begin": "begin_reread", "reread on": "go_on",
    "reread list": "newest_rereads", "reread call-back": "call_back",
    "recordings hand-over": "hand_recordings_over", "recordings retire": "retire_recordings",
    "hook add": "add_hook", "hook list": "hook_states", "hook deliveries": "deliveries_of", "hook again": "again",
    "hook test": "queue_test", "hook secret": "renew_secret", "hook end": "end_hook",
}  # fmt: skip

NONE = {
    "service": "is about the system it runs on",
    "agent": "runs until it is stopped",
    "serve": "runs the browser's side", "watch": "runs until it is stopped", "flow read": "listens to a device",
    "move": "a whole shop is moved with nobody in it", "upgrade": "the same", "private": "modes of files",
    "demo": "shows the command line itself", "examples": "copies files",
    "user": "who may log in is said where nobody else reads along", "station": "two programs speak with each other",
}  # fmt: skip


def leaves(command, before=""):
    if not hasattr(command, "commands"):
        yield before.strip()
        return
    for name, under in command.commands.items():
        if not under.hidden:
            yield from leaves(under, f"{before} {name}")


def test_every_command_has_its_names_or_a_reason():
    commands = set(leaves(get_command(app)))
    without = {c for c in commands if c in NONE or c.split()[0] in NONE}
    assert commands - without == set(NAMES)


@pytest.mark.parametrize("command", NAMES)
def test_its_names_are_public_and_said_to_be_something(command):
    for name in NAMES[command].split():
        assert name in heavyspot.__all__ and callable(getattr(heavyspot, name))
        assert getattr(heavyspot, name).__doc__
