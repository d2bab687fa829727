UPDATE question SET details = $details WHERE question_id = $question_id;
