SELECT code, details, text FROM question WHERE code = 'changes-lost' AND status = 'open' ORDER BY question_id
